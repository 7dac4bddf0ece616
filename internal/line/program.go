package line

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"runtime/debug"
	"sync"
)

// Program tells builds apart whose results may differ, for the keys of rows. It
// is the build's own account of itself, revision, compiler, processor and
// libraries, where it was built from a clean checkout: then machines that built
// it apart agree. Otherwise nobody knows what is in it, and it is the hash of the
// file that runs. The error is for a program whose file cannot be read: its rows
// must not be kept, and no other machine may work for it.
var Program = sync.OnceValues(func() (string, error) {
	if info, ok := debug.ReadBuildInfo(); ok && clean(info) {
		sum := sha256.Sum256([]byte(info.String()))
		return "build " + hex.EncodeToString(sum[:]), nil
	}
	name, err := os.Executable()
	if err != nil {
		return "", fmt.Errorf("looking for the running program: %w", err)
	}
	f, err := os.Open(name)
	if err != nil {
		return "", fmt.Errorf("reading the running program: %w", err)
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", fmt.Errorf("reading the running program: %w", err)
	}
	return "file " + hex.EncodeToString(h.Sum(nil)), nil
})

// clean reports whether a build is all of one revision: nothing changed in the
// checkout, and no library replaced by a folder, whose content nobody states.
func clean(info *debug.BuildInfo) bool {
	revision, modified := "", "unknown"
	for _, s := range info.Settings {
		switch s.Key {
		case "vcs.revision":
			revision = s.Value
		case "vcs.modified":
			modified = s.Value
		}
	}
	for _, d := range info.Deps {
		if d.Replace != nil && d.Replace.Sum == "" {
			return false
		}
	}
	return revision != "" && modified == "false"
}
