package api

import (
	"compress/gzip"
	"net/http"
	"strings"
	"sync"
)

var gzips = sync.Pool{New: func() any {
	z, err := gzip.NewWriterLevel(nil, gzip.BestSpeed)
	if err != nil {
		panic(err) // the level is a constant of the library
	}
	return z
}}

// compress packs what is text, for readers that take it: a run of 5,000
// samples is megabytes of JSON on a phone's link. Streams pass untouched.
func compress(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") || strings.HasSuffix(r.URL.Path, "/stream") {
			next.ServeHTTP(w, r)
			return
		}
		z := &zipped{ResponseWriter: w}
		defer z.close()
		next.ServeHTTP(z, r)
	})
}

type zipped struct {
	http.ResponseWriter
	z       *gzip.Writer
	decided bool
}

func (z *zipped) WriteHeader(code int) {
	z.decide(code)
	z.ResponseWriter.WriteHeader(code)
}

func (z *zipped) decide(code int) {
	if z.decided {
		return
	}
	z.decided = true
	h := z.Header()
	h.Add("Vary", "Accept-Encoding")
	if code == http.StatusNoContent || code == http.StatusNotModified || code == http.StatusPartialContent ||
		h.Get("Content-Encoding") != "" || !packs(h.Get("Content-Type")) {
		return
	}
	h.Set("Content-Encoding", "gzip")
	h.Del("Content-Length")
	h.Del("Accept-Ranges")
	z.z = gzips.Get().(*gzip.Writer)
	z.z.Reset(z.ResponseWriter)
}

func packs(contentType string) bool {
	for _, t := range []string{"text/", "application/json", "application/problem+json", "application/wasm",
		"application/javascript", "application/manifest+json", "image/svg"} {
		if strings.HasPrefix(contentType, t) {
			return true
		}
	}
	return false
}

func (z *zipped) Write(b []byte) (int, error) {
	if !z.decided {
		if z.Header().Get("Content-Type") == "" {
			z.Header().Set("Content-Type", http.DetectContentType(b))
		}
		z.decide(http.StatusOK)
	}
	if z.z != nil {
		return z.z.Write(b)
	}
	return z.ResponseWriter.Write(b)
}

func (z *zipped) close() {
	if z.z != nil {
		_ = z.z.Close() // the reader left: nothing to do
		gzips.Put(z.z)
	}
}

func (z *zipped) Unwrap() http.ResponseWriter { return z.ResponseWriter }
