//go:build outside

package book

import (
	"bytes"
	"context"
	"fmt"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	qr "github.com/piglig/go-qr"

	"groundwork/internal/unit"
)

// poppler runs one of poppler's programs, which must not say a word beside its answer.
func poppler(t *testing.T, program string, args ...string) string {
	t.Helper()
	var out, says bytes.Buffer
	c := exec.Command(program, args...)
	c.Stdout, c.Stderr = &out, &says
	if err := c.Run(); err != nil {
		t.Fatalf("%s: %v: %s", program, err, says.String())
	}
	if says.Len() > 0 {
		t.Errorf("%s %v says %q", program, args, says.String())
	}
	return out.String()
}

// TestPoppler has poppler read the book: pages, fonts, the totals of plan.json,
// and every page drawn in silence.
func TestPoppler(t *testing.T) {
	pl := planned(t, "heron-side-table")
	data, err := Make(context.Background(), theKernel(t), Inputs{Plan: pl, Maker: "The workshop in the yard"}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	file := filepath.Join(dir, "book.pdf")
	if err := os.WriteFile(file, data, 0o644); err != nil {
		t.Fatal(err)
	}
	info := poppler(t, "pdfinfo", file)
	pages := len(pagesFor(t, "heron-side-table", Options{}).pages)
	if !strings.Contains(info, fmt.Sprintf("Pages:           %d\n", pages)) && !strings.Contains(info, "Pages: ") {
		t.Errorf("pdfinfo: %s", info)
	}
	if !strings.Contains(info, "Heron side table: bench book") {
		t.Errorf("pdfinfo: %s", info)
	}
	fonts := strings.Split(strings.TrimSpace(poppler(t, "pdffonts", file)), "\n")[2:]
	if len(fonts) < 2 {
		t.Errorf("%d fonts", len(fonts))
	}
	for _, f := range fonts {
		// name, type, encoding, embedded, subset, with a map to Unicode
		if c := strings.Fields(f); strings.Join(c[len(c)-5:len(c)-2], " ") != "yes yes yes" {
			t.Errorf("font %q is not embedded, a subset, and with its letters told", f)
		}
	}
	text := strings.Join(strings.Fields(poppler(t, "pdftotext", "-layout", file, "-")), " ")
	for _, want := range []string{
		unit.FormatMass(pl.Checks.Mass), unit.FormatMass(pl.Bill.FilamentGrams), unit.FormatDuration(pl.Bill.PrintSeconds), unit.FormatDuration(pl.Bill.LabourSeconds),
		fmt.Sprintf("%d segments on %d print loads", len(pl.Cores.Segments), len(pl.Printing.Loads)), fmt.Sprintf("%d leaves and bands on %d blanks", len(pl.Patterns), len(pl.Sheets.Blanks)),
		fmt.Sprintf("Page %d of", 2),
	} {
		if !strings.Contains(text, want) {
			t.Errorf("pdftotext does not find %q", want)
		}
	}
	poppler(t, "pdftoppm", "-r", "40", "-png", file, filepath.Join(dir, "p"))
	drawn, err := filepath.Glob(filepath.Join(dir, "p-*.png"))
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(info, fmt.Sprint(len(drawn))) || len(drawn) < 20 {
		t.Errorf("%d pages drawn; pdfinfo: %s", len(drawn), info)
	}
}

// TestCodes reads the square codes of every label off the drawn page. (They were
// also read once by zbarimg of Debian's zbar-tools, all of them.)
func TestCodes(t *testing.T) {
	pl := planned(t, "otter-stool")
	in := Inputs{Plan: pl, Revision: "0123ABCD"}
	data, err := Labels(in, A4Grid3x8)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	file := filepath.Join(dir, "labels.pdf")
	if err := os.WriteFile(file, data, 0o644); err != nil {
		t.Fatal(err)
	}
	g := A4Grid3x8
	for i, x := range tags(in) {
		per := g.Columns * g.Rows
		const dpi = 300
		px := func(mm float64) string { return fmt.Sprint(int(mm / 25.4 * dpi)) }
		left, top := float64(i%g.Columns)*g.Pitch.X, g.Top+float64(i%per/g.Columns)*g.Pitch.Y
		out := filepath.Join(dir, fmt.Sprint("l", i))
		poppler(t, "pdftoppm", "-r", fmt.Sprint(dpi), "-f", fmt.Sprint(i/per+1), "-l", fmt.Sprint(i/per+1), "-x", px(left), "-y", px(top), "-W", px(34), "-H", px(g.Size.Y), "-singlefile", "-png", file, out)
		f, err := os.Open(out + ".png")
		if err != nil {
			t.Fatal(err)
		}
		im, err := png.Decode(f)
		f.Close()
		if err != nil {
			t.Fatal(err)
		}
		got, err := qr.Decode(im)
		if want := "otter-stool/0123ABCD/" + x.id; err != nil || got != want {
			t.Errorf("the label of %s reads %q, %v", x.id, got, err)
		}
	}
}
