package plan

import (
	"container/list"
	"context"
	"errors"
	"reflect"
	"sync"

	"groundwork/internal/digest"
)

// Memory is a Cache of bounded size: what has not been asked for the longest
// goes first.
type Memory struct {
	most int64 // bytes

	mu     sync.Mutex
	size   int64
	kept   map[digest.Sum]*list.Element // of *keep
	recent *list.List                   // the most recent in front
	work   map[digest.Sum]chan struct{} // under way; closed when it ends
}

type keep struct {
	key   digest.Sum
	value any
	size  int64
}

// NewMemory keeps some bytes of results, estimated by what they reach; what
// several results reach counts for each of them.
func NewMemory(bytes int64) *Memory {
	return &Memory{most: bytes, kept: map[digest.Sum]*list.Element{}, recent: list.New(), work: map[digest.Sum]chan struct{}{}}
}

// Get is a Cache's: equal work is done once at a time, and those who wait for
// it take its result, or have a try themselves if it failed.
func (m *Memory) Get(ctx context.Context, key digest.Sum, work func() (any, error)) (any, error) {
	for {
		m.mu.Lock()
		if e, ok := m.kept[key]; ok {
			m.recent.MoveToFront(e)
			m.mu.Unlock()
			return e.Value.(*keep).value, nil
		}
		ended, busy := m.work[key]
		if !busy {
			m.work[key] = make(chan struct{})
			m.mu.Unlock()
			return m.do(key, work)
		}
		m.mu.Unlock()
		select {
		case <-ended:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
}

var errPanicked = errors.New("panicked")

func (m *Memory) do(key digest.Sum, work func() (any, error)) (v any, err error) {
	err = errPanicked // unless it returns
	defer func() {
		var size int64
		if err == nil {
			size = weight(v)
			if r, ok := v.(*result); ok {
				size += weight(r.plan.field)
			}
		}
		m.mu.Lock()
		defer m.mu.Unlock()
		close(m.work[key])
		delete(m.work, key)
		if err == nil && size <= m.most {
			m.kept[key] = m.recent.PushFront(&keep{key, v, size})
			m.size += size
			m.trim()
		}
	}()
	v, err = work()
	return v, err
}

func (m *Memory) trim() {
	for m.size > m.most {
		e := m.recent.Back()
		old := m.recent.Remove(e).(*keep)
		delete(m.kept, old.key)
		m.size -= old.size
	}
}

// Size is how many bytes are kept, about.
func (m *Memory) Size() int64 {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.size
}

// weight is how many bytes a value reaches, about: maps count without what is
// left free in them, and functions without what they close over. What does not
// count as content is left out, for it may be changing: solids of the piece,
// which other plans use meanwhile, draw their surfaces when they are asked to.
func weight(v any) int64 {
	w := weighing{seen: map[reach]bool{}}
	w.value(reflect.ValueOf(v))
	return w.sum
}

type weighing struct {
	sum  int64
	seen map[reach]bool
}

// reach is a place that was counted.
type reach struct {
	at uintptr
	t  reflect.Type
}

// flat reports whether a type's values reach nothing.
func flat(t reflect.Type) bool {
	switch t.Kind() {
	case reflect.Array:
		return flat(t.Elem())
	case reflect.Struct:
		for f := range t.Fields() {
			if !flat(f.Type) {
				return false
			}
		}
		return true
	case reflect.String, reflect.Slice, reflect.Pointer, reflect.Map, reflect.Interface:
		return false
	}
	return true
}

// value counts what a value reaches; itself it is part of something else.
func (w *weighing) value(v reflect.Value) {
	switch v.Kind() {
	case reflect.String:
		w.sum += int64(v.Len())
	case reflect.Struct:
		for f := range v.Type().Fields() {
			if f.Tag.Get("digest") != "-" {
				w.value(v.FieldByIndex(f.Index))
			}
		}
	case reflect.Array:
		w.elements(v)
	case reflect.Slice:
		if v.Len() > 0 && w.first(v) {
			w.sum += int64(v.Cap()) * int64(v.Type().Elem().Size())
			w.elements(v)
		}
	case reflect.Pointer:
		if !v.IsNil() && w.first(v) {
			w.sum += int64(v.Type().Elem().Size())
			w.value(v.Elem())
		}
	case reflect.Interface:
		if !v.IsNil() {
			w.sum += int64(v.Elem().Type().Size())
			w.value(v.Elem())
		}
	case reflect.Map:
		if v.IsNil() || !w.first(v) {
			return
		}
		w.sum += int64(v.Len()) * int64(v.Type().Key().Size()+v.Type().Elem().Size())
		for e := v.MapRange(); e.Next(); {
			w.value(e.Key())
			w.value(e.Value())
		}
	}
}

func (w *weighing) elements(v reflect.Value) {
	if flat(v.Type().Elem()) {
		return
	}
	for i := range v.Len() {
		w.value(v.Index(i))
	}
}

func (w *weighing) first(v reflect.Value) bool {
	at := reach{v.Pointer(), v.Type()}
	if w.seen[at] {
		return false
	}
	w.seen[at] = true
	return true
}
