package shop_test

import (
	"os"
	"strings"
	"testing"

	"groundwork/internal/finding"
	"groundwork/internal/piece"
	"groundwork/internal/shop"
)

// TestDocumentedFilesParse reads the YAML blocks of docs/piece-file.md: first
// a piece, then a shop that has what the piece asks for, then more of
// its sections.
func TestDocumentedFilesParse(t *testing.T) {
	data, err := os.ReadFile("../../docs/piece-file.md")
	if err != nil {
		t.Fatal(err)
	}
	var blocks []string
	for _, part := range strings.Split(string(data), "```yaml\n")[1:] {
		block, _, ok := strings.Cut(part, "```")
		if !ok {
			t.Fatal("a block does not end")
		}
		blocks = append(blocks, block)
	}
	if len(blocks) != 3 {
		t.Fatalf("%d blocks", len(blocks))
	}
	d, err := piece.Parse("docs/piece-file.md", []byte(blocks[0]))
	if err != nil {
		t.Fatal(err)
	}
	p, found, err := d.Resolve(nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range found {
		if f.Severity != finding.Note {
			t.Error(f)
		}
	}
	if len(p.Members) != 4 || len(p.Joints) != 2 {
		t.Errorf("%d members and %d joints", len(p.Members), len(p.Joints))
	}
	s, err := shop.Parse("docs/piece-file.md", []byte(blocks[1]))
	if err != nil {
		t.Fatal(err)
	}
	with, err := shop.Parse("docs/piece-file.md", []byte(blocks[1]+blocks[2]))
	if err != nil {
		t.Fatal(err)
	}
	if with.Work.NightPrinting || len(with.Work.Holidays) != 1 || len(with.Work.Hours.Saturday) != 1 || with.Parcels.Longest != 1200 {
		t.Errorf("read as %+v, %+v", with.Work, with.Parcels)
	}
	if _, ok := s.Veneer(p.Veneer.Veneer); !ok {
		t.Errorf("the shop has no veneer %q", p.Veneer.Veneer)
	}
	if _, ok := s.Filament(p.Filament); !ok {
		t.Errorf("the shop has no filament %q", p.Filament)
	}
}

// TestExampleShopServesTheExamples: every veneer, filament and screw that a
// piece of the library names is in the example shop.
func TestExampleShopServesTheExamples(t *testing.T) {
	s, err := shop.ParseFile("../../examples/shop.yaml")
	if err != nil {
		t.Fatal(err)
	}
	entries, err := os.ReadDir("../../examples")
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, e := range entries {
		if !strings.HasSuffix(e.Name(), ".yaml") || e.Name() == "shop.yaml" {
			continue
		}
		n++
		d, err := piece.ParseFile("../../examples/" + e.Name())
		if err != nil {
			t.Fatal(err)
		}
		p, _, err := d.Resolve(nil)
		if err != nil {
			t.Fatal(err)
		}
		veneers, filaments := []string{p.Veneer.Veneer}, []string{p.Filament}
		for _, m := range p.Members {
			veneers, filaments = append(veneers, m.Veneer), append(filaments, m.Filament)
		}
		for _, r := range p.Surfaces {
			veneers = append(veneers, r.Veneer)
		}
		for _, id := range veneers {
			if _, ok := s.Veneer(id); !ok && id != "" {
				t.Errorf("%s: no veneer %q", e.Name(), id)
			}
		}
		for _, id := range filaments {
			if _, ok := s.Filament(id); !ok && id != "" {
				t.Errorf("%s: no filament %q", e.Name(), id)
			}
		}
		for _, j := range p.Joints {
			_, screw := s.Screw(j.Screw)
			_, insert := s.Insert(j.Screw)
			if j.Screw != "" && !(screw && insert) {
				t.Errorf("%s: no screw and insert %q", e.Name(), j.Screw)
			}
		}
	}
	if n < 4 {
		t.Errorf("only %d pieces", n)
	}
}
