package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"groundwork/internal/store"
)

type backupCommand struct {
	File string `arg:"" help:"The file to write, as stock-2026-11.db. It must not be there yet." type:"path"`
	storeFlag
}

func (backupCommand) Help() string {
	return "Everything is in it: the stock, the jobs, what was logged, the prices, the photographs. It is checked before it gets its name. Others may go on working meanwhile. Keep it on another disk."
}

func (c *backupCommand) Run(ctx context.Context, out *output) error {
	return c.with(ctx, func(s *store.Store) error {
		got, err := s.Backup(ctx, c.File)
		if err != nil {
			return err
		}
		fmt.Fprintf(out.Out, "Backed up to %s: %s\n", c.File, contents(got))
		return nil
	})
}

// contents tells what a store or a backup holds.
func contents(c store.Contents) string {
	last := ""
	if !c.Last.IsZero() {
		last = ", the last of " + local(c.Last)
	}
	return fmt.Sprintf("%d entries%s; %d spools, pieces and bins; %d jobs; %d photographs.", c.Entries, last, c.Lots, c.Jobs, c.Photos)
}

type restoreCommand struct {
	From string `arg:"" help:"The backup, or a folder that groundwork export wrote." type:"path"`
	storeFlag
}

func (restoreCommand) Help() string {
	return "The backup is checked first and then takes the place of the stock in one step. The stock that was there is kept beside it under a name with the time. Nobody may have the stock open meanwhile."
}

func (c *restoreCommand) Run(ctx context.Context, out *output) error {
	path, err := c.path()
	if err != nil {
		return err
	}
	from := c.From
	if info, err := os.Stat(from); err != nil {
		return err
	} else if info.IsDir() {
		// An export becomes a store of its own first, which then is restored like a
		// backup: whatever is wrong with it, the stock that is there stays.
		dir, err := os.MkdirTemp("", "groundwork-restore-")
		if err != nil {
			return err
		}
		defer os.RemoveAll(dir)
		from = filepath.Join(dir, store.FileName)
		if _, err := store.Import(ctx, from, c.From, time.Now); err != nil {
			return err
		}
	}
	r, err := store.Restore(ctx, path, from, time.Now)
	if err != nil {
		return err
	}
	fmt.Fprintf(out.Out, "Restored from %s: %s\n", c.From, contents(r.Contents))
	if r.Kept != "" {
		fmt.Fprintf(out.Out, "The stock that was there is kept in %s\n", r.Kept)
	}
	return nil
}

type exportCommand struct {
	Folder string `arg:"" help:"The folder to write. It must not be there yet." type:"path"`
	storeFlag
}

func (exportCommand) Help() string {
	return "Every table as CSV for a spreadsheet and as JSON lines for other programs, a list of the stock in stock.csv, and the photographs. groundwork restore reads it back."
}

func (c *exportCommand) Run(ctx context.Context, out *output) error {
	return c.with(ctx, func(s *store.Store) error {
		if err := s.Export(ctx, c.Folder); err != nil {
			return err
		}
		fmt.Fprintf(out.Out, "Exported to %s. For a spreadsheet, begin with %s\n", c.Folder, filepath.Join(c.Folder, "stock.csv"))
		return nil
	})
}
