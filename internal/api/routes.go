package api

import (
	"errors"
	"net/http"
	"reflect"
	"strings"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"
	"github.com/danielgtaylor/huma/v2/sse"

	"groundwork/internal/marks"
)

// anyDepth is a ServeMux on which the names of a job folder's files may hold
// slashes, which OpenAPI has no way to say.
type anyDepth struct{ *http.ServeMux }

func (m anyDepth) HandleFunc(pattern string, h func(http.ResponseWriter, *http.Request)) {
	m.ServeMux.HandleFunc(strings.Replace(pattern, "/files/{name}", "/files/{name...}", 1), h)
}

// config is huma's, with nothing that loads from elsewhere.
func config() huma.Config {
	c := huma.DefaultConfig("Groundwork", "1")
	c.Info.Description = "The maker's folder and the plans made of it. Millimetres, grams, seconds, newtons; angles in degrees. " +
		"Every method but GET and HEAD needs the header X-Groundwork-Token, which the page finds in its meta element groundwork-token."
	c.OpenAPIPath = "/api/openapi"
	c.DocsPath = ""
	c.SchemasPath = ""
	c.CreateHooks = nil // no links to schemas in the answers
	c.Components.Schemas = huma.NewMapRegistry("#/components/schemas/", schemaName)
	return c
}

// schemaName names the schema of a type for the page.
func schemaName(t reflect.Type, hint string) string {
	switch t {
	case reflect.TypeFor[marks.File]():
		return "Marks"
	case reflect.TypeFor[marks.Pattern]():
		return "Pinned"
	}
	return huma.DefaultSchemaNamer(t, hint)
}

// lasting is for what never changes: a plan's ID names one plan, and no other
// run of the program uses it.
const lasting = "private, max-age=86400, immutable"

// Inputs that several routes take.
type (
	PieceFile struct {
		File string `path:"file" maxLength:"200" doc:"Piece file, such as my-table.yaml"`
	}
	ShopFile struct {
		File string `path:"file" maxLength:"200" doc:"Shop file, such as shop.yaml"`
	}
	PlanID struct {
		ID string `path:"id" maxLength:"100"`
	}
	SearchID struct {
		ID string `path:"id" maxLength:"100"`
	}
	// Since is where a stream goes on that was cut off.
	Since struct {
		LastEventID int `header:"Last-Event-ID" minimum:"0" doc:"Number of the last event that was received; browsers send it by themselves"`
	}
	answer[T any] struct{ Body T }
	blob          struct {
		ContentType string `header:"Content-Type"`
		Disposition string `header:"Content-Disposition"`
		Cache       string `header:"Cache-Control"`
		Body        []byte
	}
)

// routes puts every route of the interface on the mux and returns the
// interface's description.
func (s *Server) routes(mux *http.ServeMux) *huma.OpenAPI {
	api := humago.New(anyDepth{mux}, config())
	registry := api.OpenAPI().Components.Schemas
	op := func(method, path, id, about string) huma.Operation {
		return huma.Operation{Method: method, Path: path, OperationID: id, Summary: about, MaxBodyBytes: maxRequest, BodyReadTimeout: requestTime}
	}
	// binary is an operation whose answer is a file.
	binary := func(path, id, about, media string) huma.Operation {
		o := op(http.MethodGet, path, id, about)
		o.Responses = map[string]*huma.Response{"200": {Content: map[string]*huma.MediaType{media: {Schema: &huma.Schema{Type: "string", Format: "binary"}}}}}
		return o
	}

	d := s.desk
	huma.Register(api, op("GET", "/api/folder", "folder", "What the folder holds"), d.folder)
	huma.Register(api, op("POST", "/api/pieces", "copyPiece", "A new piece from the library or from another piece"), d.copyPiece)
	huma.Register(api, op("GET", "/api/pieces/{file}", "piece", "A piece file and what belongs to it"), d.piece)
	huma.Register(api, op("PUT", "/api/pieces/{file}", "writePiece", "Save the text of a piece; text with faults is saved all the same"), d.writePiece)
	huma.Register(api, op("POST", "/api/pieces/{file}/changes", "changePiece", "Change single values in place"), d.changePiece)
	huma.Register(api, op("PUT", "/api/pieces/{file}/marks", "writeMarks", "Save the marks of a piece"), d.writeMarks)
	huma.Register(api, op("PUT", "/api/shops/{file}", "writeShop", "Save the text of a shop; text with faults is saved all the same"), d.writeShop)
	huma.Register(api, op("POST", "/api/pieces/{file}/undo", "undo", "Take back the last step"), d.undo)
	huma.Register(api, op("POST", "/api/pieces/{file}/redo", "redo", "Do again what was taken back"), d.redo)
	sse.Register(api, op("GET", "/api/events", "folderEvents", "Changes in the folder as they come"),
		map[string]any{"change": ChangeEvent{}, "stock": StockEvent{}, "missed": MissedEvent{}, "ping": PingEvent{}}, d.events)

	up := op("POST", "/api/uploads/{kind}/{file}", "upload", "Put a photograph or a file with solids into the folder; of solids a piece is made")
	up.Parameters = []*huma.Param{
		{Name: "kind", In: "path", Required: true, Schema: &huma.Schema{Type: "string", Enum: []any{"photograph", "solid"}}},
		{Name: "file", In: "path", Required: true, Schema: &huma.Schema{Type: "string"}},
		{Name: "unit", In: "query", Description: "That of a file with solids that states none; without it it is guessed", Schema: &huma.Schema{Type: "string", Enum: []any{"mm", "cm", "m", "in"}}},
	}
	up.RequestBody = &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{"application/octet-stream": {Schema: &huma.Schema{Type: "string", Format: "binary"}}}}
	up.Responses = map[string]*huma.Response{"200": {Description: "OK", Content: map[string]*huma.MediaType{"application/json": {Schema: registry.Schema(reflect.TypeFor[Uploaded](), true, "Uploaded")}}}}
	api.OpenAPI().AddOperation(&up)
	mux.HandleFunc("POST /api/uploads/{kind}/{file}", d.upload)
	photo := binary("/photographs/{file}", "photograph", "A photograph of the folder", "image/*")
	photo.Parameters = up.Parameters[1:2]
	api.OpenAPI().AddOperation(&photo)
	mux.HandleFunc("GET /photographs/{file}", d.photograph)

	// stream is an operation that sends the events of what find knows by its ID.
	// Of what it does not know the status says so: it must be sent before them.
	stream := func(path, id, about string, find func(id string) error) huma.Operation {
		o := op(http.MethodGet, path, id, about)
		o.Middlewares = huma.Middlewares{func(c huma.Context, next func(huma.Context)) {
			var p *Problem
			if errors.As(find(c.Param("id")), &p) {
				_, w := humago.Unwrap(c)
				refuse(w, p)
				return
			}
			next(c)
		}}
		return o
	}

	p := s.plans
	huma.Register(api, op("POST", "/api/plans", "orderPlan", "Begin a plan; the view's earlier one, if unfinished, is given up"), p.order)
	sse.Register(api, stream("/api/plans/{id}/events", "planEvents", "How a plan comes along, from its beginning", p.has),
		map[string]any{"stage": StageEvent{}, "geometry": GeometryEvent{}, "done": DoneEvent{}, "failed": FailedEvent{}, "superseded": SupersededEvent{}, "cancelled": CancelledEvent{}, "ping": PingEvent{}}, p.events)
	huma.Register(api, op("DELETE", "/api/plans/{id}", "cancelPlan", "Give a plan up"), p.cancel)
	huma.Register(api, binary("/api/plans/{id}/geometry", "planGeometry", "plan.json of what is known so far", "application/json"), p.geometry)
	huma.Register(api, binary("/api/plans/{id}/plan.json", "planDocument", "plan.json as in the job folder", "application/json"), p.document)
	huma.Register(api, binary("/api/plans/{id}/scene.glb", "planScene", "The piece in space (glTF 2.0)", "model/gltf-binary"), p.scene)
	huma.Register(api, op("GET", "/api/plans/{id}/files", "jobFiles", "The files of the job folder"), p.files)
	huma.Register(api, binary("/api/plans/{id}/files/{name}", "jobFile", "One file of the job folder; its name may hold slashes", "application/octet-stream"), p.file)
	huma.Register(api, binary("/api/plans/{id}/job.zip", "jobFolder", "The whole job folder", "application/zip"), p.folder)
	huma.Register(api, op("POST", "/api/plans/{id}/clashes", "clashes", "Whether patterns may lie where the maker holds them"), p.clashes)

	k := s.stock
	huma.Register(api, op("GET", "/api/stock", "stock", "What the shop has, what is laid aside for which job, and the jobs"), k.tell)
	huma.Register(api, op("POST", "/api/stock/entries", "enterStock", "Take something in, put a count right, or say what it costs"), k.entry)
	huma.Register(api, op("GET", "/api/stock/calibration", "calibration", "What the log of print loads says of the estimates"), k.calibration)
	huma.Register(api, op("POST", "/api/plans/{id}/reserve", "reservePlan", "Enter a plan as a job, and lay aside what it takes, or tell what is short"), k.reserve)
	huma.Register(api, op("GET", "/api/stock/jobs/{job}", "stockJob", "All of one job"), k.job)
	huma.Register(api, op("POST", "/api/stock/jobs/{job}/reserve", "reserveJob", "Lay aside what a job takes that was entered before, or tell what is short"), k.reserveJob)
	huma.Register(api, op("POST", "/api/stock/jobs/{job}/release", "releaseJob", "Let go what is laid aside for a job; it stays planned"), k.release)
	huma.Register(api, op("POST", "/api/stock/jobs/{job}/print", "logLoad", "Log what a print load really took"), k.print)
	huma.Register(api, op("POST", "/api/stock/jobs/{job}/finish", "finishJob", "End a job that was made: take out what it used, put back its offcuts"), k.finish)
	huma.Register(api, op("POST", "/api/stock/jobs/{job}/abandon", "abandonJob", "End a job that will not be made"), k.abandon)

	q := s.searches
	huma.Register(api, op("POST", "/api/plans/{id}/improve", "improve", "Begin a search for tighter layouts"), q.begin)
	sse.Register(api, stream("/api/searches/{id}/events", "searchEvents", "How a search comes along, from its beginning", q.has),
		map[string]any{"better": BetterEvent{}, "done": FoundEvent{}, "failed": FailedEvent{}, "ping": PingEvent{}}, q.events)
	huma.Register(api, op("POST", "/api/searches/{id}/stop", "stopSearch", "End a search with its best layout so far"), q.stop)
	return api.OpenAPI()
}

// Description is the OpenAPI document of the interface, as JSON.
func Description() ([]byte, error) {
	s := &Server{desk: &desk{}, plans: &plans{}, searches: &searches{}, stock: &stock{}} // only looked at, never asked
	return s.routes(http.NewServeMux()).MarshalJSON()
}
