package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"

	"ullage/internal/lab"
)

// Reporter makes papers from the records; internal/report is one, joined by cli.
type Reporter interface {
	Report(ctx context.Context, q ReportQuery) (ReportFile, error)
}

// ReportQuery says which paper is wanted.
type ReportQuery struct {
	Kind  string // run, lot, sheet, batch, month, study or instrument
	Run   string // id of a run
	Batch string // id of a batch
	Month string // like 2026-10
	Study string // id of a study
	// Instrument is an id, with the year of its checks; 0: this one.
	Instrument string
	Year       int
	Format     string // pdf, xlsx or csv
	Paper      string // a4 or letter
	Blank      bool   // a run sheet to write on, though there are readings
	Hours      float64
	Cans       int     // packages that may be opened for a sheet's plan; 0: no limit
	Fault      float64 // TPO of a faulty head over that of the others; 0: the default
}

// ReportFile is a paper that was made.
type ReportFile struct {
	Name, Type string
	Body       []byte
}

// ReportParams are the file wanted.
type ReportParams struct {
	Format string `query:"format" default:"pdf" enum:"pdf,xlsx,csv"`
	Paper  string `query:"paper" default:"a4" enum:"a4,letter"`
}

type runReportInput struct {
	ID string `path:"id" maxLength:"64"`
	ReportParams
	Kind  string  `query:"kind" default:"run" enum:"run,lot,sheet" doc:"report of the run, certificate of its lot, or run sheet"`
	Blank bool    `query:"blank" doc:"a run sheet to write on, though there are readings"`
	Hours float64 `query:"hours" doc:"expected running time, for the plan of a run sheet" minimum:"0" maximum:"24"`
	Cans  int     `query:"cans" doc:"packages that may be opened, for the plan; 0: no limit" minimum:"0" maximum:"100000"`
	Fault float64 `query:"fault" doc:"TPO of a faulty head over that of the others, that the plan is to catch" minimum:"0" maximum:"20"`
}

type monthReportInput struct {
	Month string `path:"month" doc:"like 2026-10" maxLength:"20"`
	ReportParams
}

type batchReportInput struct {
	ID string `path:"id" maxLength:"64"`
	ReportParams
}

type studyReportInput struct {
	ID string `path:"id" maxLength:"64"`
	ReportParams
}

type instrumentReportInput struct {
	ID string `path:"id" maxLength:"64"`
	ReportParams
	Year int `query:"year" doc:"calendar year of the checks; this one when not said" minimum:"0" maximum:"2200"`
}

// reportRoutes serve papers as files.
func (s *Server) reportRoutes() {
	files := map[string]*huma.MediaType{}
	for _, t := range []string{"application/pdf", "text/csv", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"} {
		files[t] = &huma.MediaType{Schema: &huma.Schema{Type: "string", Format: "binary"}}
	}
	op := func(id, path, summary, tag string) huma.Operation {
		return huma.Operation{OperationID: id, Method: http.MethodGet, Path: base + path, Summary: summary, Tags: []string{tag},
			Description: "What the records do not say is printed as not recorded. A paper decides nothing.",
			Responses:   map[string]*huma.Response{"200": {Description: "OK", Content: files}}, Errors: []int{404, 422, 500}}
	}
	huma.Register(s.api, op("report-run", "/runs/{id}/report", "Report of a run, certificate of its lot, or run sheet", "runs"),
		func(ctx context.Context, in *runReportInput) (*huma.StreamResponse, error) {
			return s.paper(ctx, ReportQuery{Kind: in.Kind, Run: in.ID, Format: in.Format, Paper: in.Paper, Blank: in.Blank, Hours: in.Hours, Cans: in.Cans, Fault: in.Fault})
		})
	huma.Register(s.api, op("report-batch", "/batches/{id}/report", "Report of a batch: its way from wort to package", "cellar"),
		func(ctx context.Context, in *batchReportInput) (*huma.StreamResponse, error) {
			return s.paper(ctx, ReportQuery{Kind: "batch", Batch: in.ID, Format: in.Format, Paper: in.Paper})
		})
	huma.Register(s.api, op("report-month", "/months/{month}/report", "Report of a month", "reports"),
		func(ctx context.Context, in *monthReportInput) (*huma.StreamResponse, error) {
			return s.paper(ctx, ReportQuery{Kind: "month", Month: in.Month, Format: in.Format, Paper: in.Paper})
		})
	huma.Register(s.api, op("report-study", "/studies/{id}/report", "Report of a study", "instruments"),
		func(ctx context.Context, in *studyReportInput) (*huma.StreamResponse, error) {
			return s.paper(ctx, ReportQuery{Kind: "study", Study: in.ID, Format: in.Format, Paper: in.Paper})
		})
	huma.Register(s.api, op("report-instrument", "/instruments/{id}/report", "An instrument's year: checks with their drift, sensors, what is due", "instruments"),
		func(ctx context.Context, in *instrumentReportInput) (*huma.StreamResponse, error) {
			return s.paper(ctx, ReportQuery{Kind: "instrument", Instrument: in.ID, Year: in.Year, Format: in.Format, Paper: in.Paper})
		})
}

func (s *Server) paper(ctx context.Context, q ReportQuery) (*huma.StreamResponse, error) {
	if s.Report == nil {
		return nil, s.fail(&lab.Error{Class: lab.NotFound, Faults: []lab.Fault{{Field: "path", Value: "report", Message: "this server makes no reports", Mend: "use the command ullage report"}}})
	}
	f, err := s.Report.Report(ctx, q)
	if err != nil {
		return nil, s.fail(err)
	}
	return &huma.StreamResponse{Body: func(hc huma.Context) {
		_, w := humago.Unwrap(hc)
		w.Header().Set("Content-Type", f.Type)
		// The name is the maker's, of letters, digits and hyphens.
		w.Header().Set("Content-Disposition", `attachment; filename="`+f.Name+`"`)
		w.Header().Set("Cache-Control", "no-store")
		_, _ = w.Write(f.Body)
	}}, nil
}
