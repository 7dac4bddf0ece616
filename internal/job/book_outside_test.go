//go:build outside

package job

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"groundwork/examples"
	"groundwork/internal/unit"
)

// The bench book in a job folder, as poppler reads it, tells the figures that
// plan.json in the same folder has; poppler has nothing to say against either PDF.
func TestBookAgreesWithPlan(t *testing.T) {
	for _, name := range examples.Pieces() {
		t.Run(name, func(t *testing.T) {
			k, p := planned(t, name)
			dir := t.TempDir()
			texts := map[string]string{}
			var d Document
			for _, file := range []string{"book.pdf", "labels.pdf", "plan.json"} {
				f, ok, err := One(context.Background(), k, p, Options{}, file)
				if err != nil || !ok {
					t.Fatalf("%s: %v, %v", file, ok, err)
				}
				if file == "plan.json" {
					d = read(t, []File{f})
					continue
				}
				path := filepath.Join(dir, file)
				if err := os.WriteFile(path, f.Data, 0o644); err != nil {
					t.Fatal(err)
				}
				var said strings.Builder
				cmd := exec.Command("pdftotext", "-layout", path, "-")
				cmd.Stderr = &said
				out, err := cmd.Output()
				if err != nil || said.Len() > 0 {
					t.Fatalf("pdftotext %s: %v: %s", file, err, said.String())
				}
				texts[file] = strings.Join(strings.Fields(string(out)), " ")
			}
			tot := d.Totals
			for _, want := range []string{
				unit.FormatMass(tot.MassG),
				fmt.Sprintf("%d segments on %d print loads", tot.Segments, tot.Plates),
				unit.FormatMass(tot.FilamentG),
				fmt.Sprintf("%s (%s to %s)", unit.FormatDuration(tot.PrintS), unit.FormatDuration(tot.PrintLowS), unit.FormatDuration(tot.PrintHighS)),
				fmt.Sprintf("%d leaves and bands on %d blanks", tot.Patterns, tot.Panels),
				unit.FormatDuration(tot.LabourS),
				d.Kit.Revision,
			} {
				if !strings.Contains(texts["book.pdf"], want) {
					t.Errorf("the book does not tell %q", want)
				}
			}
			for _, l := range d.Plates {
				if want := fmt.Sprintf("%s (%s to %s)", unit.FormatDuration(l.Seconds), unit.FormatDuration(l.Low), unit.FormatDuration(l.High)); !strings.Contains(texts["book.pdf"], want) {
					t.Errorf("the book does not tell the %s of %s", want, l.ID)
				}
			}
			for _, s := range d.Segments {
				if !strings.Contains(texts["labels.pdf"], s.ID) {
					t.Errorf("no label for %s", s.ID)
				}
			}
			if !strings.Contains(texts["labels.pdf"], d.Kit.Revision) {
				t.Error("labels do not bear the kit's revision")
			}
		})
	}
}
