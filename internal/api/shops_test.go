package api

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestShopText(t *testing.T) {
	c := serve(t, "")
	was := c.piece(table)
	text := strings.Replace(was.ShopText, "name: A small shop", "name: My shop", 1)
	var s Shop
	c.must("PUT", "/api/shops/shop.yaml", ShopText{Text: text, Base: was.ShopVersion, View: "a"}, &s)
	now := c.piece(table)
	if s.Text != text || len(s.Faults) != 0 || now.ShopText != text || now.ShopVersion != s.Version {
		t.Errorf("saved %+v; the piece has %s of it", s.Faults, now.ShopVersion)
	}
	if now.Undo == nil || now.Undo.What != "Text of shop.yaml" {
		t.Errorf("undo would take back %+v", now.Undo)
	}
	// Text with faults is saved, and its faults are told with their lines.
	broken := strings.Replace(text, "nozzle: 0.4 mm", "nozzle: wide", 1)
	c.must("PUT", "/api/shops/shop.yaml", ShopText{Text: broken, Base: s.Version}, &s)
	if s.Text != broken || len(s.Faults) == 0 || s.Faults[0].Line == 0 || s.Faults[0].File != "shop.yaml" {
		t.Errorf("with a fault: %+v", s.Faults)
	}
	if disk, _ := os.ReadFile(filepath.Join(c.dir, "shop.yaml")); string(disk) != broken {
		t.Error("it is not saved")
	}
	// Of two windows the later one is told what the first has written.
	status, p := c.do("PUT", "/api/shops/shop.yaml", ShopText{Text: text, Base: was.ShopVersion}, nil)
	if status != 409 || p.CurrentShop == nil || p.CurrentShop.Text != broken {
		t.Errorf("from an older text: status %d, %+v", status, p)
	}
	var back Piece
	for range 2 {
		c.must("POST", "/api/pieces/"+table+"/undo", ViewName{}, &back)
	}
	if back.ShopText != was.ShopText {
		t.Error("undone twice it is not what it was")
	}
	var fresh Shop
	c.must("PUT", "/api/shops/other.yaml", ShopText{Text: text}, &fresh)
	if fresh.Version == "" {
		t.Error("a new shop has no version")
	}
	for name, want := range map[string]int{table: 409, "none.yaml": 404, "heron-side-table.marks.yaml": 409, "..%2fx.yaml": 422, "a.png": 422, "shop.yaml": 422, "CON.yaml": 422} {
		base := "x"
		if want == 422 {
			base = ""
		}
		if status, p := c.do("PUT", "/api/shops/"+name, ShopText{Text: text, Base: base}, nil); status != want {
			t.Errorf("%s: status %d, want %d: %s", name, status, want, p.Detail)
		}
	}
}
