package api

import (
	"encoding/json"
	"io/fs"
	"log/slog"
	"net/http"
	"sync"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"

	"ullage/internal/access"
	"ullage/internal/lab"
)

// Limits of a request's body, in bytes.
const (
	MaxRecord = 1 << 20
	MaxBatch  = 8 << 20
)

// Calculations is the table of named calculations; core/calc is one.
type Calculations interface {
	// List describes every calculation, as JSON.
	List() ([]byte, error)
	// Run computes; the answer is JSON with result and warnings, or error.
	Run(name string, input []byte) ([]byte, error)
}

// Server answers HTTP for a laboratory. Set the exported fields, then call
// [Server.Handler] once.
type Server struct {
	Lab     *lab.Service
	Calc    Calculations    // nil: the calculation routes answer 404
	Import  Importer        // nil: the import routes answer 404
	Report  Reporter        // nil: the report routes answer 404
	Access  *access.Service // nil: no sign-in, every request acts as an unnamed person with all roles
	SignOn  SignOn          // single sign-on; nil: none
	Web     fs.FS           // the web app; nil: none
	Log     *slog.Logger    // nil: slog.Default()
	Version string
	// Hosts are the names under which the server may be addressed; empty: any.
	// On a server that only this machine can reach, they keep a page of another
	// site, whose name was bent to this machine, from reading.
	Hosts []string
	// Proxy says that only a proxy on this machine reaches the server: what it
	// says of the sender's address and of TLS counts.
	Proxy bool

	api       huma.API
	metrics   *metrics
	closing   chan struct{} // closed by Shutdown: live streams end
	openapi   []byte
	verifying sync.Mutex
}

// Handler builds the routes.
func (s *Server) Handler() http.Handler {
	if s.Log == nil {
		s.Log = slog.Default()
	}
	s.metrics = newMetrics(time.Now())
	s.closing = make(chan struct{})
	mux := http.NewServeMux()
	s.register(mux)
	mux.HandleFunc("GET /healthz", s.health)
	mux.HandleFunc("GET /metrics", s.metricsPage)
	mux.HandleFunc("GET /api/openapi.json", s.openapiPage)
	mux.HandleFunc("GET /api/docs", s.docsPage)
	mux.HandleFunc("/api/", func(w http.ResponseWriter, r *http.Request) {
		writeProblem(w, newProblem(lab.NotFound, "path", r.Method+" "+r.URL.Path,
			"there is no such route", "see /api/docs"))
	})
	if s.Web != nil {
		mux.Handle("/", static(s.Web))
	}
	return s.wrap(mux)
}

// Shutdown ends the live streams, so that the HTTP server can stop.
func (s *Server) Shutdown() { close(s.closing) }

func (s *Server) register(mux *http.ServeMux) {
	huma.NewError = humaProblem
	huma.DefaultArrayNullable = false
	cfg := huma.DefaultConfig("Ullage", "1")
	cfg.Info.Description = apiText
	cfg.CreateHooks, cfg.OpenAPIPath, cfg.DocsPath, cfg.SchemasPath = nil, "", "", ""
	cfg.RejectUnknownQueryParameters = true
	cfg.Components.Schemas = huma.NewMapRegistry("#/components/schemas/", schemaName)
	aliasTypes(cfg.Components.Schemas)
	s.api = humago.New(mux, cfg)
	s.collections()
	s.batchRoutes()
	s.runRoutes()
	s.judgeRoutes()
	s.cellarRoutes()
	s.streamRoutes()
	s.calcRoutes()
	s.exportRoute()
	s.reportRoutes()
	s.instrumentRoutes(mux)
	s.importRoutes(mux)
	s.sessionRoutes(mux)
	s.accountRoutes()
	s.trailRoutes()
}

// OpenAPI gives the description of the API, indented. Call Handler first.
func (s *Server) OpenAPI() ([]byte, error) {
	if s.openapi == nil {
		text, err := json.MarshalIndent(s.api.OpenAPI(), "", " ")
		if err != nil {
			return nil, err
		}
		s.openapi = append(text, '\n')
	}
	return s.openapi, nil
}

func (s *Server) openapiPage(w http.ResponseWriter, _ *http.Request) {
	text, err := s.OpenAPI()
	if err != nil {
		writeProblem(w, problem(err))
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(text)
}

const apiText = `Records of a brewery's oxygen work. Every record is a chain of revisions:
a write names the revision it builds on (base_rev, 0 to create) and carries the whole record.
Sending the same content again changes nothing and answers 200 with the stored record;
other content on the same base answers 409 with both versions.
Ids are UUIDv7, made where the record is made. The brewery record has the fixed id ` + lab.BreweryID + `.
Fields marked read-only are the server's; what a client sends in them is ignored.
Warnings never stop a write. Units are those of each field's suffix; 1 ppb is 1 µg per litre of beer.`
