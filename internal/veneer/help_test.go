package veneer

import (
	"context"
	"fmt"
	"math"
	"os"
	"strings"
	"sync"
	"testing"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

var shared = sync.OnceValues(func() (*solid.Kernel, error) { return solid.New(solid.Options{Instances: 2}) })

func testKernel(t testing.TB) *solid.Kernel {
	t.Helper()
	k, err := shared()
	if err != nil {
		t.Fatal(err)
	}
	return k
}

// testShop has one veneer with a stack of 0.8 mm on sheets of 610 by 2440 and
// one laser bed.
func testShop(x, y float64) *shop.Shop {
	return &shop.Shop{
		Veneers: []shop.Veneer{
			{ID: "walnut", Face: 0.5, Backing: 0.2, Adhesive: 0.1, Sheet: geom.V2(610, 2440), EdgeMargin: 5, BendAlong: 60, BendAcross: 30},
			{ID: "thick", Face: 0.6, Backing: 0.5, Adhesive: 0.1, Sheet: geom.V2(610, 2440), EdgeMargin: 5, BendAlong: 60, BendAcross: 30},
		},
		Lasers: []shop.Laser{{ID: "laser", Bed: geom.V2(x, y), Margin: 5, Kerf: 0.2}},
	}
}

func path(closed bool, pts ...geom.Vec2) geom.Path {
	p := geom.Path{Closed: closed}
	for i := range pts {
		if i+1 < len(pts) {
			p.Segs = append(p.Segs, geom.LineTo(pts[i], pts[i+1]))
		} else if closed {
			p.Segs = append(p.Segs, geom.LineTo(pts[i], pts[0]))
		}
	}
	return p
}

func rectangle(w, h float64) geom.Path {
	return path(true, geom.V2(0, 0), geom.V2(w, 0), geom.V2(w, h), geom.V2(0, h))
}

func ellipse(rx, ry float64) geom.Path {
	return geom.Path{Closed: true, Segs: []geom.Seg{geom.ArcOf(geom.Vec2{}, rx, ry, 0, 0, 2*math.Pi)}}
}

func board(id string, p geom.Path, thick float64, at geom.Frame) piece.Member {
	return piece.Member{ID: id, Name: id, Place: at, Board: &piece.Board{Outline: piece.NewOutline(p, piece.BreakAngle), Thickness: thick}}
}

func turning(id string, p geom.Path, at geom.Frame) piece.Member {
	tn := piece.NewTurning(p, piece.BreakAngle)
	return piece.Member{ID: id, Name: id, Place: at, Turning: &tn}
}

func lifted(z float64) geom.Frame {
	f := geom.World()
	f.Origin.Z = z
	return f
}

func pieceOf(sizes piece.Sizes, ms ...piece.Member) *piece.Piece {
	return &piece.Piece{Name: "test", Sizes: sizes, Members: ms, Veneer: piece.VeneerRule{Order: "faces first", Balance: true}}
}

// contactsOf finds contacts as the program does.
func contactsOf(t testing.TB, p *piece.Piece) []joint.Contact {
	t.Helper()
	r, err := joint.Place(context.Background(), testKernel(t), p, testShop(600, 300), joint.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return r.Contacts
}

type result struct {
	l        *Layout
	patterns []Pattern
	by       map[string]Pattern
	found    []finding.Finding
}

// make runs both steps and verifies what they made.
func run(t testing.TB, p *piece.Piece, cs []joint.Contact, j *joint.Result, s *shop.Shop, o Options) result {
	t.Helper()
	k := testKernel(t)
	l, err := Lay(context.Background(), k, p, cs, rounds(j), s, o)
	if err != nil {
		t.Fatal(err)
	}
	ps, fs, err := Patterns(context.Background(), k, p, l, j, s, o)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range Verify(p, l, ps, j, s, o) {
		t.Errorf("verify: %v", f)
	}
	r := result{l: l, patterns: ps, by: map[string]Pattern{}, found: append(l.Findings, fs...)}
	for _, q := range ps {
		if _, twice := r.by[q.ID]; twice {
			t.Errorf("two patterns are called %s", q.ID)
		}
		r.by[q.ID] = q
	}
	return r
}

func (r result) has(code string) *finding.Finding {
	for i := range r.found {
		if r.found[i].Code == code {
			return &r.found[i]
		}
	}
	return nil
}

func (r result) ids() string {
	var out []string
	for _, p := range r.patterns {
		out = append(out, p.ID)
	}
	return strings.Join(out, " ")
}

func near(t testing.TB, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.6f, want %.6f within %g", what, got, want, tol)
	}
}

// draw writes a pattern as SVG to the folder named by VENEER_DRAW, for the eye.
func draw(t testing.TB, name string, ps ...Pattern) {
	dir := os.Getenv("VENEER_DRAW")
	if dir == "" {
		return
	}
	var b strings.Builder
	y, wide := 0.0, 0.0
	for _, p := range ps {
		box := p.Gross.Bounds()
		wide = max(wide, box.Size().X)
		for i, ps := range []geom.Polygons{p.Gross, p.Net} {
			fmt.Fprintf(&b, `<path fill="%s" stroke="%s" stroke-width="0.15" d="`, []string{"#e8d8b8", "#c49a5a"}[i], []string{"#888", "#300"}[i])
			for _, loop := range ps {
				for j, q := range loop {
					fmt.Fprintf(&b, "%s%.3f %.3f ", []string{"M", "L"}[min(j, 1)], q.X-box.Min.X+5, y+5+box.Max.Y-q.Y)
				}
				b.WriteString("Z ")
			}
			b.WriteString("\"/>\n")
		}
		for _, q := range p.Pins {
			fmt.Fprintf(&b, `<circle cx="%.3f" cy="%.3f" r="%.3f" fill="#fff" stroke="#000" stroke-width="0.15"/>`+"\n", q.X-box.Min.X+5, y+5+box.Max.Y-q.Y, p.Pin/2)
		}
		y += box.Size().Y + 10
	}
	svg := fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %.1f %.1f">%s</svg>`, wide+10, y, b.String())
	if err := os.WriteFile(dir+"/"+name+".svg", []byte(svg), 0o644); err != nil {
		t.Fatal(err)
	}
}

// rounds are the round contacts of what was joined, if anything was.
func rounds(j *joint.Result) []joint.RoundContact {
	if j == nil {
		return nil
	}
	return j.Rounds
}
