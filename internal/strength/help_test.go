package strength

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"groundwork/examples"
	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/seam"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
	"groundwork/internal/stress"
	"groundwork/internal/veneer"
)

var kernel *solid.Kernel

func TestMain(m *testing.M) {
	k, err := solid.New(solid.Options{})
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	kernel = k
	code := m.Run()
	k.Close()
	os.Exit(code)
}

// readPiece reads a piece file that has no solids.
func readPiece(t testing.TB, text string) *piece.Piece {
	t.Helper()
	d, err := piece.Parse("test.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	p, _, err := d.Resolve(nil)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func exampleShop(t testing.TB) *shop.Shop {
	t.Helper()
	s, err := examples.Shop()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// inputs takes a piece through the stages that come before.
func inputs(t testing.TB, p *piece.Piece) stress.Inputs {
	t.Helper()
	ctx, s := context.Background(), exampleShop(t)
	j, err := joint.Place(ctx, kernel, p, s, joint.Options{})
	if err != nil {
		t.Fatal(err)
	}
	l, err := veneer.Lay(ctx, kernel, p, j.Contacts, j.Rounds, s, veneer.Options{})
	if err != nil {
		t.Fatal(err)
	}
	f := s.Filaments[0]
	if p.Filament != "" {
		f, _ = s.Filament(p.Filament)
	}
	return stress.Inputs{
		Piece: p, Cores: l.Cores, Cuts: l.Cuts, Joints: j, Bodies: seam.Bodies(l.Cores, p.PrintAsOne), Shop: s,
		Filament: func(int) shop.Filament { return f },
		Profile:  func(int) shop.Profile { return s.Printers[0].Profile },
		Floor:    len(p.Held) == 0,
	}
}

func example(t testing.TB, name string) stress.Inputs {
	t.Helper()
	data, err := examples.Files.ReadFile(name + ".yaml")
	if err != nil {
		t.Fatal(err)
	}
	text := string(data)
	if name == "tern-wall-shelf" && !strings.Contains(text, "held:") {
		text += "\nheld:\n  - {on: back, surface: back}\n"
	}
	return inputs(t, readPiece(t, text))
}

// golden compares text with a file; GOLDEN=update writes it.
func golden(t *testing.T, name, got string) {
	t.Helper()
	file := filepath.Join("testdata", name)
	if os.Getenv("GOLDEN") == "update" {
		if err := os.MkdirAll("testdata", 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s differs (GOLDEN=update writes it):\ngot:\n%s\nwant:\n%s", file, got, want)
	}
}

// table is the cases as text.
func table(in stress.Inputs, cs []Case, fs []finding.Finding) string {
	var b strings.Builder
	for _, c := range cs {
		fmt.Fprintf(&b, "%s  %s", c.ID, c.Kind)
		if c.Sustained {
			b.WriteString(", for months")
		}
		if !c.Judged {
			b.WriteString(", not judged")
		}
		if c.Agreed < 1 {
			fmt.Fprintf(&b, ", agreed on %.0f %%", 100*c.Agreed)
		}
		fmt.Fprintf(&b, "\n  %s\n  (%s)\n", c.What, c.Source)
		for _, l := range c.Loads {
			p := l.Frame.Point(flat(middle(l.Region)))
			fmt.Fprintf(&b, "    %s: %s N at %s over %.0f mm², facing %s\n", in.Cores[l.Member].ID, vec(l.Force, 1), vec(p, 0), l.Region.Area(), vec(l.Frame.Z, 2))
		}
	}
	for _, f := range fs {
		fmt.Fprintln(&b, f)
	}
	return b.String()
}

func vec(v geom.Vec3, decimals int) string {
	one := func(x float64) string {
		s := fmt.Sprintf("%.*f", decimals, x)
		if strings.Trim(s, "-0.") == "" {
			return "0"
		}
		return s
	}
	return "(" + one(v.X) + ", " + one(v.Y) + ", " + one(v.Z) + ")"
}
