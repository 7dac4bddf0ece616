package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"groundwork/examples"
	"groundwork/internal/intake"
	"groundwork/internal/mesh"
	"groundwork/internal/piece"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

type importCommand struct {
	Files   []string `arg:"" help:"Files with solids: STL, OBJ or 3MF." type:"path" name:"file"`
	Out     string   `help:"The piece file to write. The files stay where they are; it names them." required:"" type:"path" placeholder:"FILE"`
	Title   string   `help:"Name of the piece for people."`
	Use     string   `help:"What the piece is for: ${enum}." enum:"table,seat,shelf,stand,other" default:"other"`
	Sizes   string   `help:"finished: drawn over the veneer; core: the veneer comes on top." enum:"finished,core" default:"finished"`
	Unit    string   `help:"Unit of files that state none: mm, cm, m, in or ft. Guessed when left out." placeholder:"UNIT"`
	Up      string   `help:"Which way is up in the files: x, y, z, -x, -y or -z." enum:"x,y,z,-x,-y,-z" default:"z" placeholder:"AXIS"`
	Holes   float64  `help:"Close holes in a mesh whose border is no longer than this, in mm. A quarter of its size when left out." placeholder:"MM"`
	Thicken float64  `help:"Give open surfaces this thickness in mm, inward, so that they become solids." placeholder:"MM"`
	Hangs   bool     `help:"The piece hangs: keep the height at which it is drawn instead of putting it on the floor."`
	Shop    string   `help:"The shop file, whose hardware joints are tried with. Without it an ordinary shop is assumed." type:"path" placeholder:"FILE"`
	Replace bool     `help:"Write over a piece file that is there."`
}

func (c *importCommand) Run(ctx context.Context, out *output) error {
	if _, err := os.Stat(c.Out); err == nil && !c.Replace {
		return fmt.Errorf("%s is there already; move it away, choose another name, or add --replace", c.Out)
	}
	name := strings.TrimSuffix(filepath.Base(c.Out), filepath.Ext(c.Out))
	if !piece.ValidName(name) {
		return fmt.Errorf("the piece takes its name from --out, and %q cannot be one; use lower-case letters, digits and hyphens, as in my-stool.yaml", name)
	}
	o := intake.Options{Name: name, Title: c.Title, Use: piece.Use(c.Use), Sizes: piece.Sizes(c.Sizes), Up: c.Up, Holes: c.Holes, Thicken: c.Thicken, Hangs: c.Hangs}
	if c.Unit != "" {
		u, err := mesh.ParseUnit(c.Unit)
		if err != nil {
			return err
		}
		o.Unit = u
	}
	var files []intake.File
	for _, f := range c.Files {
		data, err := piece.ReadFile(f)
		if errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("there is no file %s", f)
		}
		if err != nil {
			return fmt.Errorf("%s: %w", f, err)
		}
		rel, err := filepath.Rel(filepath.Dir(c.Out), f)
		if err != nil {
			return fmt.Errorf("%s cannot be named from the folder of %s; put them on one disk", f, c.Out)
		}
		files = append(files, intake.File{Name: filepath.ToSlash(rel), Data: data})
	}
	s, err := readShop(c.Shop)
	if err != nil {
		return err
	}
	k, err := solid.New(solid.Options{})
	if err != nil {
		return err
	}
	defer k.Close()
	r, err := intake.Make(ctx, k, files, s, o)
	if err != nil {
		return err
	}
	showFindings(out, r.Findings)
	if r.Piece == nil {
		return fmt.Errorf("%w; nothing was written", intake.ErrNothing)
	}
	if err := os.MkdirAll(filepath.Dir(c.Out), 0o755); err != nil {
		return err
	}
	if err := writeWhole(c.Out, r.Text); err != nil {
		return err
	}
	boards, turnings := 0, 0
	for _, m := range r.Piece.Members {
		switch {
		case m.Board != nil:
			boards++
		case m.Turning != nil:
			turnings++
		}
	}
	fmt.Fprintf(out.Out, "Wrote %s: %d members (%d boards, %d turnings, %d other solids), %d joints proposed.\n", c.Out,
		len(r.Piece.Members), boards, turnings, len(r.Piece.Members)-boards-turnings, len(r.Joints))
	if n := stops(r.Findings); n > 0 {
		return alterError{n}
	}
	fmt.Fprintf(out.Out, "Read it through and change what you like. Then:  groundwork plan %s --shop shop.yaml --out %s\n", c.Out, name+"-job")
	return nil
}

// readShop reads a shop file, or the ordinary one where none is named.
func readShop(file string) (*shop.Shop, error) {
	if file != "" {
		return shop.ParseFile(file)
	}
	data, err := examples.Files.ReadFile("shop.yaml")
	if err != nil {
		return nil, err
	}
	return shop.Parse("shop.yaml", data)
}

// writeWhole writes a file by renaming, so that it is whole or as it was.
func writeWhole(name string, data []byte) error {
	f, err := os.CreateTemp(filepath.Dir(name), "."+filepath.Base(name)+"-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	if _, err := f.Write(data); err != nil {
		f.Close()
		return err
	}
	if err := f.Chmod(0o644); err != nil {
		f.Close()
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	return os.Rename(f.Name(), name)
}
