// Package digest tells content apart: values with the same Sum are, for all
// that matters, alike. It is how results are kept and found again.
//
// It looks at everything that a value reaches, fields that are not exported
// among them, so that nothing can be forgotten. What has no content to look at
// (a function, a lock) is an error, unless it is nil, or its field says that it
// does not count:
//
//	Progress func(done, total int) `digest:"-"` // only looks on
package digest

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"hash"
	"reflect"
	"slices"
	"sync"
	"unsafe"
)

// Sum is a SHA-256 of content. It is the same in every process of one build of
// the program on one kind of machine; it is not for files.
type Sum [sha256.Size]byte

// Hasher is what tells itself what it is made from, such as an expression that
// has a hash already. Of then looks no further.
type Hasher interface{ Hash() [sha256.Size]byte }

// ErrNoContent says that a value reaches a function, a channel or a lock.
var ErrNoContent = errors.New("has no content to be told by")

// Of is the digest of a value.
//
// Numbers count by their bits, so that -0 is not 0; a nil slice is not an empty
// one; maps count by their entries, whatever their order; a pointer counts as
// what it points to, whether others point to it or not. Types count: an int of 1
// is not a float of 1.
func Of(v any) (s Sum, err error) {
	d := &digester{sha: sha256.New(), path: map[place]int{}}
	d.value(reflect.ValueOf(v))
	if d.err != nil {
		return Sum{}, fmt.Errorf("digest: %w", d.err)
	}
	d.flush()
	d.sha.Sum(s[:0])
	return s, nil
}

// digester takes in content. buf holds what sha has not yet seen.
type digester struct {
	sha  hash.Hash
	buf  []byte
	path map[place]int // what is being looked at, by depth: content may lead back to itself
	err  error
}

// place is something that is pointed to. Its type tells a struct from its first
// field, its length one slice from another with the same start.
type place struct {
	at  unsafe.Pointer
	t   reflect.Type
	len int
}

// Marks before what may be there or not.
const (
	absent = iota
	present
	again // leads back to what is being looked at
)

const full = 8 << 10 // bytes

func (d *digester) flush() {
	d.sha.Write(d.buf)
	d.buf = d.buf[:0]
}

func (d *digester) bytes(b []byte) {
	if len(d.buf)+len(b) > full {
		d.flush()
	}
	if len(b) > full {
		d.sha.Write(b)
		return
	}
	d.buf = append(d.buf, b...)
}

func (d *digester) int(i int) {
	var b [8]byte
	binary.LittleEndian.PutUint64(b[:], uint64(i))
	d.bytes(b[:])
}

func (d *digester) text(s string) {
	d.int(len(s))
	d.bytes(unsafe.Slice(unsafe.StringData(s), len(s)))
}

// value takes in a value with its type.
func (d *digester) value(v reflect.Value) {
	if !v.IsValid() {
		d.int(absent)
		return
	}
	d.int(present)
	t := v.Type()
	d.text(t.PkgPath())
	d.text(t.String())
	held := reflect.New(t)
	held.Elem().Set(v)
	d.at(t, held.UnsafePointer())
}

func (d *digester) at(t reflect.Type, p unsafe.Pointer) {
	if d.err == nil {
		taking(t)(d, p)
	}
}

// within looks at what a pointer, slice or map leads to, once on each path.
func (d *digester) within(pl place, look func()) {
	if depth, ok := d.path[pl]; ok {
		d.int(again)
		d.int(len(d.path) - depth)
		return
	}
	d.path[pl] = len(d.path)
	d.int(present)
	look()
	delete(d.path, pl)
}

// taker takes in the value of one type that lies at p. It is worked out once
// for each type, and then costs little more than copying.
type taker func(d *digester, p unsafe.Pointer)

var takers sync.Map // reflect.Type to taker

func taking(t reflect.Type) taker {
	if f, ok := takers.Load(t); ok {
		return f.(taker)
	}
	f := newTaker(t)
	takers.Store(t, f)
	return f
}

var hasherType = reflect.TypeFor[Hasher]()

// hashes reports whether a type tells itself what it is made from. A struct that
// has the method from an embedded field does not: the method knows nothing of
// the fields beside it.
func hashes(t reflect.Type) bool {
	if !t.Implements(hasherType) || t.Kind() == reflect.Interface {
		return false
	}
	s := t
	if s.Kind() == reflect.Pointer {
		s = s.Elem()
	}
	if s.Kind() != reflect.Struct {
		return true
	}
	for f := range s.Fields() {
		if f.Anonymous && (f.Type.Implements(hasherType) || reflect.PointerTo(f.Type).Implements(hasherType)) {
			return false
		}
	}
	return true
}

func newTaker(t reflect.Type) taker {
	if hashes(t) {
		pointer := t.Kind() == reflect.Pointer
		return func(d *digester, p unsafe.Pointer) {
			v := reflect.NewAt(t, p).Elem()
			if pointer && v.IsNil() {
				d.int(absent)
				return
			}
			d.int(present)
			h := v.Interface().(Hasher).Hash()
			d.bytes(h[:])
		}
	}
	if t.PkgPath() == "sync" || t.PkgPath() == "sync/atomic" {
		return func(d *digester, _ unsafe.Pointer) { d.err = fmt.Errorf("a %s %w", t, ErrNoContent) }
	}
	if plain(t) {
		size := int(t.Size())
		return func(d *digester, p unsafe.Pointer) { d.bytes(unsafe.Slice((*byte)(p), size)) }
	}
	switch t.Kind() {
	case reflect.String:
		return func(d *digester, p unsafe.Pointer) { d.text(*(*string)(p)) }
	case reflect.Struct:
		return structTaker(t)
	case reflect.Array:
		e, n := t.Elem(), t.Len()
		return func(d *digester, p unsafe.Pointer) { d.row(e, p, n) }
	case reflect.Slice:
		return sliceTaker(t)
	case reflect.Pointer:
		return func(d *digester, p unsafe.Pointer) {
			to := *(*unsafe.Pointer)(p)
			if to == nil {
				d.int(absent)
				return
			}
			d.within(place{to, t, 0}, func() { d.at(t.Elem(), to) })
		}
	case reflect.Map:
		return mapTaker(t)
	case reflect.Interface:
		return func(d *digester, p unsafe.Pointer) { d.value(reflect.NewAt(t, p).Elem().Elem()) }
	}
	return func(d *digester, p unsafe.Pointer) { // a function, a channel, an address
		if !reflect.NewAt(t, p).Elem().IsZero() {
			d.err = fmt.Errorf("a %s %w", t, ErrNoContent)
			return
		}
		d.int(absent)
	}
}

// row takes in n values of one type, one after the other.
func (d *digester) row(t reflect.Type, p unsafe.Pointer, n int) {
	size := t.Size()
	if plain(t) {
		d.bytes(unsafe.Slice((*byte)(p), n*int(size)))
		return
	}
	take := taking(t)
	for i := 0; i < n && d.err == nil; i++ {
		take(d, unsafe.Add(p, uintptr(i)*size))
	}
}

func sliceTaker(t reflect.Type) taker {
	e := t.Elem()
	loops := leadsTo(e, t, map[reflect.Type]bool{})
	return func(d *digester, p unsafe.Pointer) {
		v := (*[]byte)(p) // its head only: all slices have the same
		start, n := unsafe.Pointer(unsafe.SliceData(*v)), len(*v)
		if *v == nil {
			d.int(absent)
			return
		}
		look := func() {
			d.int(n)
			d.row(e, start, n)
		}
		if loops && n > 0 {
			d.within(place{start, t, n}, look)
			return
		}
		d.int(present)
		look()
	}
}

// mapTaker takes in the digests of a map's entries, sorted.
func mapTaker(t reflect.Type) taker {
	loops := leadsTo(t.Elem(), t, map[reflect.Type]bool{}) || leadsTo(t.Key(), t, map[reflect.Type]bool{})
	return func(d *digester, p unsafe.Pointer) {
		m := reflect.NewAt(t, p).Elem()
		if m.IsNil() {
			d.int(absent)
			return
		}
		look := func() {
			sums := make([]Sum, 0, m.Len())
			for entries := m.MapRange(); entries.Next(); {
				one := &digester{sha: sha256.New(), path: d.path}
				one.value(entries.Key())
				one.value(entries.Value())
				one.flush()
				var s Sum
				one.sha.Sum(s[:0])
				sums = append(sums, s)
				if one.err != nil {
					d.err = one.err
					return
				}
			}
			slices.SortFunc(sums, func(a, b Sum) int { return slices.Compare(a[:], b[:]) })
			d.int(len(sums))
			for _, s := range sums {
				d.bytes(s[:])
			}
		}
		if loops {
			d.within(place{m.UnsafePointer(), t, 0}, look)
			return
		}
		d.int(present)
		look()
	}
}

func structTaker(t reflect.Type) taker {
	type part struct {
		at   uintptr
		t    reflect.Type
		name string
	}
	var parts []part
	for f := range t.Fields() {
		if f.Tag.Get("digest") != "-" && f.Name != "_" {
			parts = append(parts, part{f.Offset, f.Type, f.Name})
		}
	}
	return func(d *digester, p unsafe.Pointer) {
		for _, f := range parts {
			d.at(f.t, unsafe.Add(p, f.at))
			if d.err != nil {
				d.err = fmt.Errorf("%s: %w", f.name, d.err)
				return
			}
		}
	}
}

var plains sync.Map // reflect.Type to bool

// plain reports whether a type's memory is its content: numbers without gaps
// between them.
func plain(t reflect.Type) bool {
	if ok, known := plains.Load(t); known {
		return ok.(bool)
	}
	ok := isPlain(t)
	plains.Store(t, ok)
	return ok
}

func isPlain(t reflect.Type) bool {
	if t.PkgPath() == "sync" || t.PkgPath() == "sync/atomic" || hashes(t) {
		return false
	}
	switch t.Kind() {
	case reflect.Bool, reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64,
		reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64, reflect.Uintptr,
		reflect.Float32, reflect.Float64, reflect.Complex64, reflect.Complex128:
		return true
	case reflect.Array:
		return plain(t.Elem())
	case reflect.Struct:
		var sum uintptr
		for f := range t.Fields() {
			if f.Tag.Get("digest") == "-" || f.Name == "_" || !plain(f.Type) {
				return false
			}
			sum += f.Type.Size()
		}
		return sum == t.Size()
	}
	return false
}

// leadsTo reports whether a value of type t may reach one of type to.
func leadsTo(t, to reflect.Type, seen map[reflect.Type]bool) bool {
	if t == to {
		return true
	}
	if seen[t] {
		return false
	}
	seen[t] = true
	switch t.Kind() {
	case reflect.Interface:
		return true
	case reflect.Array, reflect.Slice, reflect.Pointer:
		return leadsTo(t.Elem(), to, seen)
	case reflect.Map:
		return leadsTo(t.Key(), to, seen) || leadsTo(t.Elem(), to, seen)
	case reflect.Struct:
		for f := range t.Fields() {
			if leadsTo(f.Type, to, seen) {
				return true
			}
		}
	}
	return false
}
