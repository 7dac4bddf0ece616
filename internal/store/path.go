package store

import (
	"errors"
	"fmt"
	"path/filepath"
	"runtime"
)

// FileName is the name of the store in the data folder.
const FileName = "shop.db"

// Path is where the shop's store is kept unless the maker says otherwise: in
// the folder that the environment names in GROUNDWORK_DATA, or else in the
// user's data folder. getenv is os.Getenv, or what stands for it in tests.
//
// On Linux and other systems with a desktop of their kind that is
// $XDG_DATA_HOME/groundwork, by default ~/.local/share/groundwork (XDG Base
// Directory Specification 0.8: a relative path is ignored); on macOS
// ~/Library/Application Support/Groundwork; on Windows %LOCALAPPDATA%\Groundwork.
func Path(getenv func(string) string) (string, error) { return pathOn(runtime.GOOS, getenv) }

func pathOn(system string, getenv func(string) string) (string, error) {
	if dir := getenv("GROUNDWORK_DATA"); dir != "" {
		return filepath.Join(dir, FileName), nil
	}
	below := func(variable string, parts ...string) (string, error) {
		base := getenv(variable)
		if base == "" {
			return "", fmt.Errorf("where to keep the shop's stock: neither GROUNDWORK_DATA nor %s is set", variable)
		}
		if !filepath.IsAbs(base) && system == runtime.GOOS {
			return "", fmt.Errorf("where to keep the shop's stock: %s is %q, which is no absolute path", variable, base)
		}
		return filepath.Join(append(append([]string{base}, parts...), FileName)...), nil
	}
	switch system {
	case "windows":
		return below("LOCALAPPDATA", "Groundwork")
	case "darwin", "ios":
		return below("HOME", "Library", "Application Support", "Groundwork")
	case "plan9", "js", "wasip1":
		return "", errors.New("where to keep the shop's stock: this system has no data folder; set GROUNDWORK_DATA")
	}
	if data := getenv("XDG_DATA_HOME"); filepath.IsAbs(data) {
		return filepath.Join(data, "groundwork", FileName), nil
	}
	return below("HOME", ".local", "share", "groundwork")
}
