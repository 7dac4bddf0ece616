package web

import (
	"bytes"
	"io/fs"
	"os"
	"path"
	"regexp"
	"testing"
	"testing/fstest"
)

func TestBuilt(t *testing.T) {
	for _, tt := range []struct {
		name  string
		files fs.FS
		want  bool
	}{
		{"placeholder only", fstest.MapFS{".gitkeep": {}}, false},
		{"page", fstest.MapFS{"index.html": {Data: []byte("<!doctype html>")}}, true},
	} {
		if got := Built(tt.files); got != tt.want {
			t.Errorf("%s: built %v, want %v", tt.name, got, tt.want)
		}
	}
}

// The embedded page is whole: it has a place for the token, loads only what
// lies beside it, and nothing of it comes from elsewhere. A release is built
// with REQUIRE_UI=1; elsewhere an unbuilt page is looked at no further, for the
// program must be testable without Node.
func TestEmbeddedPage(t *testing.T) {
	files := Files()
	if !Built(files) {
		if os.Getenv("REQUIRE_UI") != "" {
			t.Fatal("REQUIRE_UI is set and the page is not built: run make ui")
		}
		t.Log("the page is not built: run make ui to have it looked at")
		return
	}
	index, err := fs.ReadFile(files, "index.html")
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(index, []byte(`<meta name="groundwork-token" content=""`)) {
		t.Error("index.html has no empty groundwork-token for the server to fill")
	}
	loads := regexp.MustCompile(`(?:src|href)="([^"]*)"`).FindAllSubmatch(index, -1)
	found := 0
	for _, m := range loads {
		ref := string(m[1])
		if ref == "data:," { // no icon
			continue
		}
		if _, err := fs.Stat(files, path.Clean(ref)); err != nil {
			t.Errorf("index.html loads %s: %v", ref, err)
		}
		found++
	}
	if found == 0 {
		t.Error("index.html loads no script")
	}
	if bytes.Contains(index, []byte("://")) {
		t.Error("index.html names another site")
	}
}
