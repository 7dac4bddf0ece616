package main

import (
	"reflect"
	"strings"
	"testing"
)

// What manifold.js holds, cut down: the letters are its compiler's choice.
const loader = `function initRuntime(){runtimeInitialized=true;wasmExports["J"]()}` +
	`_malloc=wasmExports["M"];_free=wasmExports["N"];memory=wasmMemory=wasmExports["I"];` +
	`__indirect_function_table=wasmTable=wasmExports["L"]}var wasmImports={l:___cxa_throw,C:__abort_js};`

func TestReadLink(t *testing.T) {
	got, err := readLink(loader)
	want := link{
		Imports: map[string]string{"l": "___cxa_throw", "C": "__abort_js"},
		Exports: map[string]string{"start": "J", "malloc": "M", "free": "N", "memory": "I", "table": "L"},
	}
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("link %v, error %v, want %v", got, err, want)
	}
	for _, part := range []string{"wasmImports", `_malloc=`, `_free=`, "wasmMemory", "wasmTable", "initRuntime", "l:"} {
		if _, err := readLink(strings.Replace(loader, part, "x", 1)); err == nil {
			t.Errorf("a loader without %s passed", part)
		}
	}
}

func TestUnpackRefusesRubbish(t *testing.T) {
	if _, err := unpack([]byte("no archive"), "package/manifold.wasm"); err == nil {
		t.Error("rubbish was unpacked")
	}
}
