// Command kernel fetches the solid kernel into internal/solid/kernel.
//
// The kernel is the WebAssembly build of Manifold, published on npm as
// manifold-3d. Only manifold.wasm is kept, together with link.json, which says
// under which short names the build imports and exports its functions: the
// letters change from release to release, so they are read from the release's
// own JavaScript loader. The archive is accepted only if its SHA-512 is the
// one written below, and nothing is done when the files are already right.
//
// Run it from the root of the module:
//
//	go run ./tools/kernel
package main

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"crypto/sha512"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
)

const (
	release = "manifold-3d@3.5.4"
	archive = "manifold-3d-3.5.4.tgz"
	// Of the archive as the npm registry serves it; the registry's own
	// integrity field for this version is the same digest in base64.
	digest = "596b267b91da6f02c755c58f1d3f66facee67660d5484bc29f2fae5c7d44ee311cf056c552033be42dc387a355c39ec47a1dcec3bfb11c2b977f10cc39e9a2f4"
	folder = "internal/solid/kernel"
)

// link is what link.json holds. internal/solid reads the same fields.
type link struct {
	Release string            `json:"release"`
	Archive string            `json:"archive"` // SHA-512 of the archive
	Wasm    string            `json:"wasm"`    // SHA-256 of manifold.wasm
	Imports map[string]string `json:"imports"` // short name -> name
	Exports map[string]string `json:"exports"` // name -> short name
}

func main() {
	if err := run(); err != nil {
		fmt.Fprintln(os.Stderr, "kernel:", err)
		os.Exit(1)
	}
}

func run() error {
	if _, err := os.Stat("go.mod"); err != nil {
		return errors.New("run this from the root of the module")
	}
	if present() {
		return nil
	}
	tmp, err := os.MkdirTemp("", "kernel-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(tmp)
	cmd := exec.Command("npm", "pack", "--silent", release)
	cmd.Dir = tmp
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	if err := cmd.Run(); err != nil {
		return fmt.Errorf("npm pack %s: %w\n%s", release, err, stderr.String())
	}
	packed, err := os.ReadFile(filepath.Join(tmp, archive))
	if err != nil {
		return fmt.Errorf("reading what npm packed: %w", err)
	}
	if sum := sha512.Sum512(packed); hex.EncodeToString(sum[:]) != digest {
		return fmt.Errorf("%s has the SHA-512 %x, want %s", archive, sum, digest)
	}
	files, err := unpack(packed, "package/manifold.wasm", "package/manifold.js")
	if err != nil {
		return fmt.Errorf("unpacking %s: %w", archive, err)
	}
	wasm := files["package/manifold.wasm"]
	l, err := readLink(string(files["package/manifold.js"]))
	if err != nil {
		return fmt.Errorf("reading manifold.js: %w", err)
	}
	sum := sha256.Sum256(wasm)
	l.Release, l.Archive, l.Wasm = release, digest, hex.EncodeToString(sum[:])
	text, err := json.MarshalIndent(l, "", "  ")
	if err != nil {
		return err
	}
	// link.json last: present() trusts it.
	if err := write("manifold.wasm", wasm); err != nil {
		return err
	}
	return write("link.json", append(text, '\n'))
}

// present reports whether the folder already holds this release, whole.
func present() bool {
	text, err := os.ReadFile(filepath.Join(folder, "link.json"))
	if err != nil {
		return false
	}
	var l link
	if json.Unmarshal(text, &l) != nil || l.Archive != digest || len(l.Imports) == 0 || len(l.Exports) == 0 {
		return false
	}
	wasm, err := os.ReadFile(filepath.Join(folder, "manifold.wasm"))
	if err != nil {
		return false
	}
	sum := sha256.Sum256(wasm)
	return hex.EncodeToString(sum[:]) == l.Wasm
}

// write puts a file into the folder whole or not at all.
func write(name string, data []byte) error {
	f, err := os.CreateTemp(folder, ".new-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	_, err = f.Write(data)
	err = errors.Join(err, f.Chmod(0o644), f.Close())
	if err != nil {
		return fmt.Errorf("writing %s: %w", name, err)
	}
	return os.Rename(f.Name(), filepath.Join(folder, name))
}

func unpack(packed []byte, names ...string) (map[string][]byte, error) {
	gz, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		return nil, err
	}
	found := map[string][]byte{}
	for r := tar.NewReader(gz); ; {
		h, err := r.Next()
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, err
		}
		for _, n := range names {
			if h.Name == n {
				if found[n], err = io.ReadAll(r); err != nil {
					return nil, err
				}
			}
		}
	}
	for _, n := range names {
		if found[n] == nil {
			return nil, fmt.Errorf("no %s in it", n)
		}
	}
	return found, nil
}

var (
	importsAt = regexp.MustCompile(`wasmImports=\{([^}]*)\}`)
	exportsAt = map[string]*regexp.Regexp{
		"malloc": regexp.MustCompile(`_malloc=wasmExports\["(\w+)"\]`),
		"free":   regexp.MustCompile(`_free=wasmExports\["(\w+)"\]`),
		"memory": regexp.MustCompile(`wasmMemory=wasmExports\["(\w+)"\]`),
		"table":  regexp.MustCompile(`wasmTable=wasmExports\["(\w+)"\]`),
		"start":  regexp.MustCompile(`function initRuntime\(\)\{runtimeInitialized=true;wasmExports\["(\w+)"\]\(\)`),
	}
)

// readLink reads the short names from the release's JavaScript loader.
func readLink(js string) (link, error) {
	l := link{Imports: map[string]string{}, Exports: map[string]string{}}
	m := importsAt.FindStringSubmatch(js)
	if m == nil {
		return l, errors.New("no table of imports")
	}
	for _, pair := range strings.Split(m[1], ",") {
		short, name, ok := strings.Cut(pair, ":")
		if !ok {
			return l, fmt.Errorf("odd entry %q in the table of imports", pair)
		}
		l.Imports[short] = name
	}
	for name, at := range exportsAt {
		m := at.FindStringSubmatch(js)
		if m == nil {
			return l, fmt.Errorf("no export for %s", name)
		}
		l.Exports[name] = m[1]
	}
	return l, nil
}
