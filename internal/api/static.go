package api

import (
	"bytes"
	"io/fs"
	"net/http"
	"path"
	"strings"
	"time"
)

// static serves the web app. Names with a hash never change their content, so
// browsers keep them; pages and the service worker are asked for every time.
// An address that is no file is a page of the app, which finds its own way.
func static(files fs.FS) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			w.Header().Set("Allow", "GET, HEAD")
			http.Error(w, "this address can only be read", http.StatusMethodNotAllowed)
			return
		}
		name := strings.TrimPrefix(path.Clean("/"+r.URL.Path), "/")
		if name == "" {
			name = "index.html"
		}
		data, err := fs.ReadFile(files, name)
		if err != nil {
			if path.Ext(name) != "" {
				http.NotFound(w, r)
				return
			}
			name = "index.html"
			if data, err = fs.ReadFile(files, name); err != nil {
				http.NotFound(w, r)
				return
			}
		}
		w.Header().Set("Cache-Control", cacheFor(name))
		if strings.HasSuffix(name, ".svg") {
			w.Header().Set("Content-Type", "image/svg+xml; charset=utf-8")
		}
		if strings.HasSuffix(name, ".wasm") {
			w.Header().Set("Content-Type", "application/wasm")
		}
		if strings.HasSuffix(name, ".webmanifest") {
			w.Header().Set("Content-Type", "application/manifest+json")
		}
		http.ServeContent(w, r, path.Base(name), time.Time{}, bytes.NewReader(data))
	})
}

func cacheFor(name string) string {
	switch {
	case strings.Contains(name, "immutable/"):
		return "public, max-age=31536000, immutable"
	case path.Ext(name) == ".html", path.Base(name) == "service-worker.js", path.Ext(name) == ".webmanifest":
		return "no-store"
	}
	return "no-cache"
}
