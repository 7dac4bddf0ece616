package api

import (
	"encoding/json"
	"net/http"

	"github.com/danielgtaylor/huma/v2"
)

// Problem is what every refused request is answered with: a problem document
// (RFC 9457) that also says what to do.
type Problem struct {
	Type   string              `json:"type,omitempty" format:"uri"`
	Title  string              `json:"title" doc:"What kind of problem it is"`
	Status int                 `json:"status"`
	Detail string              `json:"detail" doc:"What is wrong, where and why"`
	Remedy string              `json:"remedy" doc:"What to do"`
	Errors []*huma.ErrorDetail `json:"errors,omitempty" doc:"Single faults of the request"`
	Faults []Fault             `json:"faults,omitempty" doc:"Single faults of a file"`
	// Current is the piece as it is, where a change was made to an older one.
	Current *Piece `json:"current,omitempty"`
	// CurrentShop is the shop as it is, where its text was changed from an older one.
	CurrentShop *Shop `json:"currentShop,omitempty"`
}

func (p *Problem) Error() string { return p.Detail }

// GetStatus is the HTTP status.
func (p *Problem) GetStatus() int { return p.Status }

// ContentType is that of a problem document.
func (p *Problem) ContentType(string) string { return "application/problem+json" }

// problem is a Problem of an HTTP status.
func problem(status int, detail, remedy string) *Problem {
	return &Problem{Title: http.StatusText(status), Status: status, Detail: detail, Remedy: remedy}
}

// remedies are what to do about problems that huma itself finds in a request.
var remedies = map[int]string{
	http.StatusBadRequest:            "reload the page; if it comes again, the page and the program are of different versions",
	http.StatusRequestTimeout:        "send it again",
	http.StatusRequestEntityTooLarge: "send less at once",
	http.StatusUnsupportedMediaType:  "send application/json",
	http.StatusUnprocessableEntity:   "mend what is listed under errors",
}

// huma takes how it makes errors, and whether lists may be null, from these
// variables alone, so they are set once for the program, before any API is made.
func init() {
	huma.DefaultArrayNullable = false
	huma.NewError = func(status int, detail string, errs ...error) huma.StatusError {
		p := problem(status, detail, remedies[status])
		for _, err := range errs {
			if d, ok := err.(huma.ErrorDetailer); ok {
				p.Errors = append(p.Errors, d.ErrorDetail())
			} else if err != nil {
				p.Errors = append(p.Errors, &huma.ErrorDetail{Message: err.Error()})
			}
		}
		return p
	}
}

// refuse answers a plain net/http request with a problem.
func refuse(w http.ResponseWriter, p *Problem) {
	w.Header().Set("Content-Type", p.ContentType(""))
	w.WriteHeader(p.Status)
	json.NewEncoder(w).Encode(p) // the client is gone if this fails
}
