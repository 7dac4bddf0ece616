package api

import (
	"bytes"
	"io/fs"
	"net/http"
	"strings"
)

// tokenPlace is where the page's index.html waits for the token.
const tokenPlace = `name="groundwork-token" content=""`

// page serves the built page, with the token written into its index.html.
func page(files fs.FS, token string) http.Handler {
	index, err := fs.ReadFile(files, "index.html")
	if err != nil {
		index = []byte(unbuilt)
	}
	index = bytes.Replace(index, []byte(tokenPlace), []byte(strings.Replace(tokenPlace, `""`, `"`+token+`"`, 1)), 1)
	others := http.FileServerFS(files)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch {
		case r.Method != http.MethodGet && r.Method != http.MethodHead:
			refuse(w, problem(http.StatusMethodNotAllowed, "the page is only read", "use GET"))
		case r.URL.Path == "/" || r.URL.Path == "/index.html":
			w.Header().Set("Content-Type", "text/html; charset=utf-8")
			w.Write(index)
		case strings.HasPrefix(r.URL.Path, "/api/") || !isFile(files, strings.TrimPrefix(r.URL.Path, "/")):
			refuse(w, problem(http.StatusNotFound, "there is nothing at "+quoted(r.URL.Path), "open the page at /"))
		default:
			if strings.HasPrefix(r.URL.Path, "/assets/") { // their names change with their content
				w.Header().Set("Cache-Control", "private, max-age=31536000, immutable")
			}
			others.ServeHTTP(w, r)
		}
	})
}

// isFile reports whether a name is that of a file: folders are not listed.
func isFile(files fs.FS, name string) bool {
	if !fs.ValidPath(name) {
		return false
	}
	st, err := fs.Stat(files, name)
	return err == nil && st.Mode().IsRegular()
}

// unbuilt stands in for a page that is not there.
const unbuilt = `<!doctype html>
<html lang="en">
<meta charset="utf-8">
<meta name="groundwork-token" content="">
<title>Groundwork</title>
<h1>The page is not built</h1>
<p>This program was compiled without its page. Run <code>make ui</code>, compile it again, and start it anew.
<p>Its interface works: see <a href="/api/openapi.json">/api/openapi.json</a>.
</html>
`
