package api

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	_ "image/jpeg" // photographs
	_ "image/png"
	"io"
	"mime"
	"net/http"
	"os"
	"path"
	"slices"
	"strings"
	"time"

	"groundwork/internal/finding"
	"groundwork/internal/folder"
	"groundwork/internal/intake"
	"groundwork/internal/mesh"
	"groundwork/internal/piece"
	"groundwork/internal/shop"
)

// Limits of uploads.
const (
	maxPhotograph = 40 << 20 // bytes
	maxPixels     = 100e6    // of a photograph
	maxHead       = 2 << 20  // bytes before a photograph tells its size
	uploadPause   = 15 * time.Second
	uploadTime    = 20 * time.Minute
	intakeTime    = 4 * time.Minute
)

// maxSolid is what the readers of meshes take, in bytes.
var maxSolid = mesh.DefaultLimits.FileBytes

// upload takes a photograph or a file with solids. Bodies are streamed to the
// disk, so it is no huma operation, which would hold them in memory.
func (d *desk) upload(w http.ResponseWriter, r *http.Request) {
	out, err := d.take(w, r)
	if err != nil {
		var p *Problem
		if !errors.As(err, &p) {
			p = broken(err)
		}
		refuse(w, p)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	json.NewEncoder(w).Encode(out) // the client is gone if this fails
}

func (d *desk) take(w http.ResponseWriter, r *http.Request) (*Uploaded, error) {
	kind, name := r.PathValue("kind"), r.PathValue("file")
	if err := folder.CheckName(name); err != nil {
		return nil, d.refusal(err)
	}
	limit := maxSolid
	switch kind {
	case "photograph":
		limit = maxPhotograph
	case "solid":
	default:
		return nil, problem(http.StatusNotFound, "uploads are of kind photograph or solid, not "+quoted(kind), "choose one of the two")
	}
	if !endings[kind][strings.ToLower(path.Ext(name))] {
		return nil, problem(http.StatusUnsupportedMediaType, fmt.Sprintf("%s does not end as a %s does", quoted(name), kind), "send jpg or png photographs, and solids as stl, obj or 3mf")
	}
	tooLarge := problem(http.StatusRequestEntityTooLarge, fmt.Sprintf("%s is larger than %d MB", quoted(name), limit>>20), map[string]string{
		"photograph": "save the photograph smaller; 3000 pixels along a sheet tell a knot to a millimetre", "solid": "save it with coarser facets"}[kind])
	if r.ContentLength > limit {
		return nil, tooLarge
	}
	body := &patient{Reader: http.MaxBytesReader(w, r.Body, limit), control: http.NewResponseController(w), until: time.Now().Add(uploadTime)}
	var out *Uploaded
	var err error
	unit := mesh.Unit(r.URL.Query().Get("unit"))
	if unit != "" && (kind != "solid" || !slices.Contains(askable, unit)) {
		return nil, problem(http.StatusUnprocessableEntity, "files with solids are in mm, cm, m or in, not in "+quoted(string(unit)), "choose one of the four, or none")
	}
	if kind == "photograph" {
		out, err = d.takePhotograph(name, body, limit)
	} else {
		out, err = d.takeSolid(r.Context(), name, unit, body)
	}
	var much *http.MaxBytesError
	if errors.As(err, &much) || errors.Is(err, folder.ErrTooLarge) {
		return nil, tooLarge
	}
	return out, err
}

var endings = map[string]map[string]bool{
	"photograph": {".jpg": true, ".jpeg": true, ".png": true},
	"solid":      {".stl": true, ".obj": true, ".3mf": true},
}

// patient is a body that may take long as a whole, but not between two reads.
type patient struct {
	io.Reader
	control *http.ResponseController
	until   time.Time
}

func (p *patient) Read(b []byte) (int, error) {
	next := time.Now().Add(uploadPause)
	if next.After(p.until) {
		next = p.until
	}
	// Without a deadline to set, the server's own holds.
	_ = p.control.SetReadDeadline(next)
	_ = p.control.SetWriteDeadline(next.Add(answerTime))
	n, err := p.Reader.Read(b)
	if err != nil { // what is done with it afterwards may take longer
		_ = p.control.SetReadDeadline(time.Time{})
	}
	return n, err
}

// takePhotograph keeps a photograph as it is, once its head has told that it is
// one and not too large to be shown.
func (d *desk) takePhotograph(name string, body io.Reader, limit int64) (*Uploaded, error) {
	var head bytes.Buffer
	c, format, err := image.DecodeConfig(io.TeeReader(io.LimitReader(body, maxHead), &head))
	if err != nil {
		if much := (*http.MaxBytesError)(nil); errors.As(err, &much) {
			return nil, err
		}
		return nil, problem(http.StatusUnsupportedMediaType, fmt.Sprintf("%s is no JPEG or PNG picture that can be read: %v", quoted(name), err), "save it again as .jpg or .png")
	}
	if isPNG := strings.ToLower(path.Ext(name)) == ".png"; isPNG != (format == "png") {
		return nil, problem(http.StatusUnsupportedMediaType, fmt.Sprintf("%s is a %s picture under another ending", quoted(name), strings.ToUpper(format)), "give it the ending of its format")
	}
	if float64(c.Width)*float64(c.Height) > maxPixels || c.Width < 1 || c.Height < 1 {
		return nil, problem(http.StatusRequestEntityTooLarge, fmt.Sprintf("%s has %d x %d pixels, more than %.0f million", quoted(name), c.Width, c.Height, maxPixels/1e6), "save it smaller")
	}
	written := bytes.Contains(head.Bytes(), []byte("Exif\x00\x00")) || bytes.Contains(head.Bytes(), []byte("eXIf"))
	if _, err := d.dir.WriteFrom(name, io.MultiReader(&head, body), limit, "", ""); err != nil {
		return nil, d.taken(name, err)
	}
	out := &Uploaded{File: name, Pieces: []string{}, Findings: []Finding{}}
	if written {
		out.Findings = append(out.Findings, Finding{
			Severity: "note", Stage: "upload", Code: "photograph-data", Subject: name,
			Message: "The photograph is kept as it is, with what the camera wrote into it, such as when and perhaps where it was taken.",
			Remedy:  "Take that out of it before you give the folder to others, if you mind.", File: name,
		})
	}
	return out, nil
}

// taken is an error of writing an upload.
func (d *desk) taken(name string, err error) error {
	if errors.Is(err, folder.ErrStale) || errors.Is(err, folder.ErrExists) {
		return problem(http.StatusConflict, fmt.Sprintf("the folder has another file %s already", quoted(name)), "give this one another name, or take that one away")
	}
	if much := (*http.MaxBytesError)(nil); errors.As(err, &much) || errors.Is(err, folder.ErrTooLarge) {
		return err
	}
	return d.refusalOf(name, err)
}

// askable are the units that the page lets the maker choose from.
var askable = []mesh.Unit{mesh.Millimetre, mesh.Centimetre, mesh.Metre, mesh.Inch}

// units are what a file that states no unit may be in, nil for one that does.
func units(name string, data []byte, taken mesh.Unit) []UnitChoice {
	scene, err := mesh.Read(name, data, mesh.Limits{})
	if err != nil || scene.Unit != "" {
		return nil
	}
	size := scene.Bounds().Size()
	largest := max(size.X, size.Y, size.Z)
	if taken == "" {
		taken, _ = mesh.GuessUnit(largest)
	}
	var out []UnitChoice
	for _, u := range askable {
		out = append(out, UnitChoice{Unit: string(u), Length: largest * u.MM(), Taken: u == taken})
	}
	return out
}

// onPage is a finding of the intake in the words of the page, which has no
// command line.
func onPage(f finding.Finding) Finding {
	out := told(f)
	switch f.Code {
	case "unit-guessed":
		out.Remedy = "If that is wrong, choose the unit in which it was drawn."
	case "implausible-size":
		out.Remedy = "Choose another unit; or look at the drawing in the program that drew it."
	}
	return out
}

// unread is why a file with solids cannot be read: what it means to the maker
// first, and then what the reader met.
func unread(name string, err error) *Problem {
	why := err.Error()
	for inner := errors.Unwrap(err); inner != nil && strings.Contains(why, fmt.Sprintf("%q", name)); inner = errors.Unwrap(inner) {
		why = inner.Error() // without the file's name, which is said already
	}
	what, remedy := "is damaged or not what its name says, so that nothing can be made of it", "save it again from the program that drew it, as STL, OBJ or 3MF of closed solids"
	switch {
	case errors.Is(err, context.DeadlineExceeded):
		what, remedy = "takes too long to be looked at", "save it with coarser facets"
	case strings.Contains(why, "the file is empty"):
		return problem(http.StatusUnprocessableEntity, quoted(name)+" is empty", remedy)
	case strings.HasPrefix(why, "it is "): // of another format
		return problem(http.StatusUnprocessableEntity, quoted(name)+" cannot be used: "+why, remedy)
	case strings.Contains(why, "the file ends"):
		what, remedy = "is cut short: its end is missing", "send it again; if it comes again, save it again from the program that drew it"
	case strings.Contains(why, "states no unit"): // none can be guessed either
		what = "has no size that furniture could have"
	case strings.Contains(why, "not finite"):
		what = "holds a corner that has no place"
	case strings.Contains(why, "holds no surface"):
		what, remedy = "holds nothing that could be cut or printed", "save the solids themselves, not their lines or points"
	}
	return problem(http.StatusUnprocessableEntity, fmt.Sprintf("%s %s (%s)", quoted(name), what, why), remedy)
}

// takeSolid makes a piece of a file with solids. unit is that of a file that
// states none, guessed where it is "". Neither comes into the folder
// unless something in the file can be used.
func (d *desk) takeSolid(ctx context.Context, name string, unit mesh.Unit, body io.Reader) (*Uploaded, error) {
	tmp, err := os.CreateTemp("", "groundwork-upload-*")
	if err != nil {
		return nil, err
	}
	defer os.Remove(tmp.Name())
	defer tmp.Close()
	if _, err := io.Copy(tmp, body); err != nil {
		if much := (*http.MaxBytesError)(nil); errors.As(err, &much) {
			return nil, err
		}
		return nil, problem(http.StatusBadRequest, fmt.Sprintf("%s did not come in whole: %v", quoted(name), err), "send it again")
	}
	select { // one at a time, for each is held in memory several times over
	case d.intake <- struct{}{}:
		defer func() { <-d.intake }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	if _, err := tmp.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	data, err := io.ReadAll(tmp)
	if err != nil {
		return nil, err
	}
	s, err := d.shop()
	if err != nil {
		return nil, err
	}
	stem := strings.TrimSuffix(name, path.Ext(name))
	short := piece.Slug(stem)
	if short == "" || !piece.ValidName(short) {
		short = "piece"
	}
	ctx, cancel := context.WithTimeout(ctx, intakeTime)
	defer cancel()
	made, err := intake.Make(ctx, d.kernel, []intake.File{{Name: name, Data: data}}, s, intake.Options{Name: short, Title: stem, Unit: unit})
	if err != nil {
		return nil, unread(name, err)
	}
	if made.Piece == nil {
		p := problem(http.StatusUnprocessableEntity, fmt.Sprintf("%s cannot be used: %v", quoted(name), intake.ErrNothing), "mend the solids in the program that drew them")
		for _, f := range made.Findings {
			p.Faults = append(p.Faults, Fault{File: name, Message: f.Subject + ": " + f.Message, Remedy: f.Remedy})
		}
		return nil, p
	}
	if _, err := tmp.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	if _, err := d.dir.WriteFrom(name, tmp, maxSolid, "", ""); err != nil {
		return nil, d.taken(name, err)
	}
	out := &Uploaded{File: name, Findings: []Finding{}, Units: units(name, data, unit)}
	for _, f := range made.Findings {
		out.Findings = append(out.Findings, onPage(f))
	}
	for n := 1; ; n++ { // a name that is free
		as := short
		if n > 1 {
			as = fmt.Sprintf("%s-%d", short, n)
		}
		_, err := d.dir.Create(as+".yaml", renamed(made.Text, as), "")
		if errors.Is(err, folder.ErrExists) && n < 100 {
			continue
		}
		if err != nil {
			return nil, d.refusal(err)
		}
		out.Pieces = []string{as + ".yaml"}
		return out, nil
	}
}

// shop is the folder's shop, the ordinary one if it has none that can be read.
func (d *desk) shop() (*shop.Shop, error) {
	f, err := d.shopFile()
	if err != nil {
		return nil, d.refusal(err)
	}
	s, err := shop.Parse(d.where(f.Name), f.Data)
	if err != nil {
		return nil, d.faulty(f.Name+" has faults", d.faults(err, f.Name))
	}
	return s, nil
}

func told(f finding.Finding) Finding {
	return Finding{Severity: f.Severity.String(), Stage: f.Stage, Code: f.Code, Subject: f.Subject, Message: f.Message, Remedy: f.Remedy, Source: f.Source, File: f.File, Line: f.Line}
}

func (d *desk) photograph(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("file")
	if !endings["photograph"][strings.ToLower(path.Ext(name))] {
		refuse(w, problem(http.StatusNotFound, quoted(name)+" is no photograph", "look at the list of the folder's photographs"))
		return
	}
	f, err := d.dir.OpenFile(name)
	if err != nil {
		var p *Problem
		errors.As(d.refusalOf(name, err), &p)
		refuse(w, p)
		return
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		refuse(w, broken(err))
		return
	}
	w.Header().Set("Content-Type", mime.TypeByExtension(strings.ToLower(path.Ext(name))))
	w.Header().Set("Cache-Control", "private, no-cache") // kept, but asked for anew
	http.ServeContent(w, r, name, st.ModTime(), f)
}
