package store

import (
	"path/filepath"
	"testing"
)

// Where the store is: XDG Base Directory Specification 0.8 on Linux.
func TestPath(t *testing.T) {
	for _, c := range []struct {
		system string
		env    map[string]string
		want   string // "" for an error
	}{
		{"linux", map[string]string{"HOME": "/home/a"}, "/home/a/.local/share/groundwork/shop.db"},
		{"linux", map[string]string{"HOME": "/home/a", "XDG_DATA_HOME": "/data"}, "/data/groundwork/shop.db"},
		{"linux", map[string]string{"HOME": "/home/a", "XDG_DATA_HOME": "data"}, "/home/a/.local/share/groundwork/shop.db"}, // relative ones are ignored
		{"linux", map[string]string{"HOME": "/home/a", "XDG_DATA_HOME": "/data", "GROUNDWORK_DATA": "/stock"}, "/stock/shop.db"},
		{"linux", map[string]string{"GROUNDWORK_DATA": "stock"}, "stock/shop.db"},
		{"linux", nil, ""},
		{"linux", map[string]string{"HOME": "here"}, ""},
		{"freebsd", map[string]string{"HOME": "/home/a"}, "/home/a/.local/share/groundwork/shop.db"},
		{"darwin", map[string]string{"HOME": "/Users/a", "XDG_DATA_HOME": "/data"}, "/Users/a/Library/Application Support/Groundwork/shop.db"},
		{"windows", map[string]string{"LOCALAPPDATA": `C:\Users\a\AppData\Local`}, filepath.Join(`C:\Users\a\AppData\Local`, "Groundwork", "shop.db")},
		{"windows", map[string]string{"HOME": "/home/a"}, ""},
		{"plan9", map[string]string{"HOME": "/home/a"}, ""},
		{"plan9", map[string]string{"GROUNDWORK_DATA": "/stock"}, "/stock/shop.db"},
	} {
		got, err := pathOn(c.system, func(k string) string { return c.env[k] })
		if got != c.want || (err != nil) != (c.want == "") {
			t.Errorf("%s %v: %q, %v; not %q", c.system, c.env, got, err, c.want)
		}
	}
}
