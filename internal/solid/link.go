package solid

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
)

// The folder holds manifold.wasm and link.json once tools/kernel has run, and
// nothing but a placeholder before.
//
//go:embed all:kernel
var files embed.FS

// ErrNotBuilt says that the binary was built without the kernel's files.
var ErrNotBuilt = errors.New("the solid kernel is not built: run make kernel")

// link says under which short names the kernel imports and exports functions.
type link struct {
	Wasm    string            `json:"wasm"`    // SHA-256 of manifold.wasm, hexadecimal
	Imports map[string]string `json:"imports"` // short name -> name
	Exports map[string]string `json:"exports"` // name -> short name
}

func loadKernel(files fs.FS) ([]byte, link, error) {
	var l link
	wasm, err := fs.ReadFile(files, "kernel/manifold.wasm")
	if err != nil {
		return nil, l, ErrNotBuilt
	}
	text, err := fs.ReadFile(files, "kernel/link.json")
	if err != nil {
		return nil, l, ErrNotBuilt
	}
	if err := json.Unmarshal(text, &l); err != nil {
		return nil, l, fmt.Errorf("reading the kernel's link.json: %w", err)
	}
	if sum := sha256.Sum256(wasm); hex.EncodeToString(sum[:]) != l.Wasm {
		return nil, l, fmt.Errorf("manifold.wasm is not the file that link.json describes: %w", ErrNotBuilt)
	}
	return wasm, l, nil
}
