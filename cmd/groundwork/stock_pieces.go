package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"

	"groundwork/internal/geom"
	"groundwork/internal/shop"
	"groundwork/internal/store"
	"groundwork/internal/unit"
)

// sizeText tells a piece of veneer: across the grain by along it.
func sizeText(p *store.Piece) string {
	box := p.Outline.Bounds().Size()
	text := fmt.Sprintf("%.0f x %.0f mm", box.X, box.Y)
	if len(p.Outline) != 4 || box.X*box.Y-max(p.Outline.Area(), -p.Outline.Area()) > 1 {
		text += ", not square"
	}
	switch n := len(p.Reserved); {
	case n == 1:
		text += ", 1 reserved area"
	case n > 1:
		text += fmt.Sprintf(", %d reserved areas", n)
	}
	if p.PhotoName != "" || len(p.Photo) > 0 {
		text += ", photographed"
	}
	return text
}

// shapeFlags are what may be said of a piece of veneer.
type shapeFlags struct {
	Size    string   `arg:"" optional:"" help:"Its size, across the grain by along it, as 300x480 (mm) or \"12 in x 20 in\"."`
	Outline string   `help:"Its corners instead of a size, for a piece that is not square: across and along the grain in mm, as \"0,0 300,0 300,200 0,480\"." placeholder:"CORNERS"`
	Reserve []string `help:"A knot or crack to keep off, as its size and the place of its lower left corner: \"40x60 at 120,300\". May be said several times." sep:"none" placeholder:"AREA"`
	Photo   string   `help:"A photograph of it, JPEG, PNG or WebP; it is kept in the stock. To have it back: groundwork stock photo." type:"existingfile" placeholder:"FILE"`
}

// outline is the shape that is given, nil if none is.
func (f shapeFlags) outline() (geom.Polygon, error) {
	switch {
	case f.Size != "" && f.Outline != "":
		return nil, errors.New("give the size of the piece, as 300x480, or else its --outline")
	case f.Outline != "":
		return parseOutline(f.Outline)
	case f.Size != "":
		size, err := parseSize(f.Size)
		return store.Rectangle(size), err
	}
	return nil, nil
}

// put puts what is given, but for the outline, into a piece.
func (f shapeFlags) put(p *store.Piece) error {
	for _, text := range f.Reserve {
		r, err := parseArea(text)
		if err != nil {
			return err
		}
		p.Reserved = append(p.Reserved, r)
	}
	if f.Photo != "" {
		photo, err := os.ReadFile(f.Photo)
		if err != nil {
			return err
		}
		p.Photo = photo
	}
	return nil
}

type addOffcut struct {
	Veneer string `arg:"" help:"The veneer's id in the shop file, as walnut."`
	shapeFlags
	Number string `help:"What is written on it. Without it the piece gets the next number: write that on it." placeholder:"NAME"`
	As     string `help:"What it is: an offcut, a blank that is cut to the bed, or a whole sheet; offcut if you say nothing." enum:"offcut,blank,sheet" default:"offcut"`
	receiptFlags
}

func (c *addOffcut) Run(ctx context.Context, out *output) error {
	p := store.Piece{Form: store.Form(c.As)}
	var err error
	if p.Outline, err = c.outline(); err != nil {
		return err
	}
	if p.Outline == nil {
		return errors.New("give the size of the piece, as 300x480, or else its --outline")
	}
	if err := c.put(&p); err != nil {
		return err
	}
	return c.takeIn(ctx, out, "1", "piece", store.Receipt{Item: store.Item{Kind: store.Offcut, ID: c.Veneer}, Lot: c.Number, Piece: &p})
}

// pieceFlags name a piece of veneer.
type pieceFlags struct {
	Veneer string `arg:"" help:"The veneer's id."`
	Number string `arg:"" help:"What is written on the piece, as 4."`
}

func (f pieceFlags) ref() store.Ref {
	return store.Ref{Item: store.Item{Kind: store.Offcut, ID: f.Veneer}, Lot: f.Number}
}

type stockDescribe struct {
	pieceFlags
	shapeFlags
	Forget bool   `help:"Forget the knots and cracks it was entered with; those of --reserve are all there are."`
	As     string `help:"What it is, if that is otherwise: offcut, blank or sheet." enum:",offcut,blank,sheet" default:"" placeholder:"WHAT"`
	whyFlag
	storeFlag
}

func (stockDescribe) Help() string {
	return `For a piece that came out otherwise than it is entered, lost a corner, or shows a knot
that nobody had seen:

  groundwork stock describe walnut 4 290x1480
  groundwork stock describe walnut 4 --reserve "40x60 at 120,300" --photo knot.jpg

What you do not say stays as it is. A piece that is gone is taken out with
groundwork stock count offcut.`
}

func (c *stockDescribe) Run(ctx context.Context, out *output) error {
	outline, err := c.outline()
	if err != nil {
		return err
	}
	if outline == nil && len(c.Reserve) == 0 && !c.Forget && c.Photo == "" && c.As == "" {
		return errors.New("say what is otherwise: the size, as 300x480, or --outline, --reserve, --forget, --photo or --as")
	}
	return c.with(ctx, func(s *store.Store) error {
		l, _, err := theLot(ctx, s, c.ref())
		if err != nil {
			return err
		}
		name := itemName(l.Item, l.Lot)
		if l.OnHand == 0 {
			return fmt.Errorf("%s is not there any more; enter what is left of it with groundwork stock add offcut", name)
		}
		p := *l.Piece
		if c.Forget {
			p.Reserved = nil
		}
		if outline != nil {
			if n := len(p.Reserved); n > 0 {
				return fmt.Errorf("%s was entered with %s, which lay on the shape it had: say --forget too, and tell with --reserve those that are left", name, several(n, "reserved area"))
			}
			p.Outline = outline
		}
		if c.As != "" {
			p.Form = store.Form(c.As)
		}
		if err := c.put(&p); err != nil {
			return err
		}
		why := fmt.Sprintf("%s: %s; it was %s", name, sizeText(&p), sizeText(l.Piece)) // what the history tells of it
		if c.Why != "" {
			why += " (" + c.Why + ")"
		}
		if err := s.Describe(ctx, l.Ref, p, store.Note{Reason: why}); err != nil {
			return err
		}
		now, _, err := theLot(ctx, s, l.Ref)
		if err != nil {
			return err
		}
		fmt.Fprintf(out.Out, "%s: %s; it was %s.\n", name, sizeText(now.Piece), sizeText(l.Piece))
		if reshaped := outline != nil || c.Forget || len(c.Reserve) > 0; reshaped && len(l.Holds) > 0 {
			fmt.Fprintf(out.Out, "WARNING  It is reserved for %s, which was planned with what it was: plan that again.\n", jobsOf(l.Holds))
		}
		return nil
	})
}

type stockPhoto struct {
	pieceFlags
	Out string `help:"File to write it to; named as the piece, in this folder, if you say nothing." type:"path" placeholder:"FILE"`
	storeFlag
}

func (c *stockPhoto) Run(ctx context.Context, out *output) error {
	return c.with(ctx, func(s *store.Store) error {
		l, _, err := theLot(ctx, s, c.ref())
		if err != nil {
			return err
		}
		if l.Piece.PhotoName == "" {
			return fmt.Errorf("there is no photograph of %s; give it one with groundwork stock describe %s %s --photo FILE", itemName(l.Item, l.Lot), c.Veneer, c.Number)
		}
		photo, media, err := s.Photo(ctx, l.Piece.PhotoName)
		if err != nil {
			return err
		}
		name := c.Out
		if name == "" {
			name = c.Veneer + "-" + c.Number + map[string]string{"image/jpeg": ".jpg", "image/png": ".png", "image/webp": ".webp"}[media]
		}
		if err := writeNew(name, photo); err != nil {
			return err
		}
		fmt.Fprintf(out.Out, "Wrote %s\n", name)
		return nil
	})
}

// parseSize reads a size: "300x480" in mm, or with units.
func parseSize(text string) (geom.Vec2, error) {
	a, b, ok := strings.Cut(strings.ReplaceAll(text, "×", "x"), "x")
	w, errW := length(a)
	l, errL := length(b)
	if !ok || errW != nil || errL != nil || !(w > 0) || !(l > 0) {
		return geom.Vec2{}, fmt.Errorf("%q is no size; write across the grain by along it, as 300x480 or \"12 in x 20 in\"", text)
	}
	return geom.V2(w, l), nil
}

// parseArea reads a rectangle: "40x60 at 120,300", in mm or with units.
func parseArea(text string) (shop.Reserved, error) {
	size, at, ok := strings.Cut(text, " at ")
	s, errSize := parseSize(size)
	p, errAt := parsePoint(at)
	if !ok || errSize != nil || errAt != nil {
		return shop.Reserved{}, fmt.Errorf("%q is no area; write its size and the place of its lower left corner, as \"40x60 at 120,300\"", text)
	}
	return shop.Reserved{At: p, Size: s}, nil
}

// parseOutline reads corners: "0,0 300,0 300,200 0,480", in mm.
func parseOutline(text string) (geom.Polygon, error) {
	var out geom.Polygon
	for _, word := range strings.Fields(text) {
		p, err := parsePoint(word)
		if err != nil {
			return nil, fmt.Errorf("%q is no corner; write across and along the grain in mm, as 300,200", word)
		}
		out = append(out, p)
	}
	return out, nil
}

func parsePoint(text string) (geom.Vec2, error) {
	a, b, ok := strings.Cut(text, ",")
	x, errX := length(a)
	y, errY := length(b)
	if !ok {
		return geom.Vec2{}, errors.New("no comma")
	}
	return geom.V2(x, y), errors.Join(errX, errY)
}

// length reads a length, of which a number alone is mm.
func length(text string) (float64, error) {
	v, q, err := unit.Parse(text)
	if err == nil && q != unit.Length && q != unit.Plain {
		err = errors.New("no length")
	}
	return v, err
}
