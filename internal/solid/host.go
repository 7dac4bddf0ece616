package solid

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"

	"github.com/tetratelabs/wazero"
	"github.com/tetratelabs/wazero/api"
)

// The kernel was built for a JavaScript host with Emscripten's embind: at
// start it registers its classes and functions with the host, and meshes cross
// as JavaScript-like values that the host keeps in a list. This file is that
// host. It knows no geometry.

// errThrown marks a C++ exception or an abort inside the kernel.
var errThrown = errors.New("the kernel gave up")

type instanceKey struct{}

// hostModule provides the kernel's imports. It is shared by all instances of
// a runtime: the instance that calls is found in the context.
func hostModule(ctx context.Context, r wazero.Runtime, compiled wazero.CompiledModule, l link) error {
	var module string
	b := (wazero.HostModuleBuilder)(nil)
	for _, f := range compiled.ImportedFunctions() {
		m, short, _ := f.Import()
		if b == nil {
			module, b = m, r.NewHostModuleBuilder(m)
		}
		if m != module {
			return fmt.Errorf("the kernel imports from %q and %q", module, m)
		}
		name := l.Imports[short]
		serve, ok := imports[name]
		if !ok {
			return fmt.Errorf("the kernel imports %q (%s), which the host does not know", name, short)
		}
		fn := func(ctx context.Context, mod api.Module, stack []uint64) {
			in := ctx.Value(instanceKey{}).(*instance)
			in.mod, in.mem = mod, mod.Memory()
			serve(in, stack)
		}
		b.NewFunctionBuilder().WithGoModuleFunction(api.GoModuleFunc(fn), f.ParamTypes(), f.ResultTypes()).Export(short)
	}
	if b == nil {
		return errors.New("the kernel imports nothing")
	}
	if _, err := b.Instantiate(ctx); err != nil {
		return err
	}
	// The function that moves vertices; see instance.importMesh.
	i32 := api.ValueTypeI32
	_, err := r.NewHostModuleBuilder("host").NewFunctionBuilder().
		WithGoModuleFunction(api.GoModuleFunc(func(ctx context.Context, _ api.Module, stack []uint64) {
			in := ctx.Value(instanceKey{}).(*instance)
			in.move(uint32(stack[0]), uint32(stack[1]))
		}), []api.ValueType{i32, i32}, nil).Export("move").Instantiate(ctx)
	return err
}

// binding is one registered function: calling it means calling invoker with
// context first.
type binding struct {
	invoker, context uint32
	signature        string // result first: p, i = 32-bit integer, d = double, f = float, v = nothing
	call             api.Function
}

// invoker is a way of calling a host value that the kernel asked for.
type invoker struct {
	types []uint32 // result first
	kind  uint32   // one of the calls below
}

const (
	callFunction = 0
	callMethod   = 1
	callNew      = 2
	callCast     = 3
)

// Values of the host as the kernel sees them. A typed array is a Go slice.
type (
	object map[string]any
	view   struct{ kind, count, at uint32 } // a window on the kernel's memory
)

// Kinds of memory views, from Emscripten's table of typed arrays.
const (
	viewUint32  = 5
	viewFloat32 = 6
	viewFloat64 = 7
)

const (
	valUndefined = 2 // handle of the undefined value, fixed by embind
	firstVal     = 10
)

var imports map[string]func(*instance, []uint64)

func init() {
	nothing := func(*instance, []uint64) {}
	named := func(in *instance, s []uint64) { in.types[uint32(s[0])] = in.cString(uint32(s[1])) }
	thrown := func(in *instance, s []uint64) {
		name := "unknown exception"
		// A C++ type_info is {vtable, name}.
		if p, ok := in.mem.ReadUint32Le(uint32(s[1]) + 4); ok {
			name = in.cString(p)
		}
		panic(fmt.Errorf("%w: C++ exception of type %s", errThrown, name))
	}
	imports = map[string]func(*instance, []uint64){
		"___cxa_throw": thrown,
		"__abort_js": func(*instance, []uint64) {
			panic(fmt.Errorf("%w: abort", errThrown))
		},
		"_emscripten_resize_heap": func(in *instance, s []uint64) {
			const page = 65536
			want, have := uint64(uint32(s[0])), uint64(in.mem.Size())
			var grown bool
			if want > have {
				// Half as much again, as growing may copy everything; the bare need if that is too much.
				pages := (want - have + page - 1) / page
				_, grown = in.mem.Grow(uint32(max(pages, have/page/2)))
				if !grown {
					_, grown = in.mem.Grow(uint32(pages))
				}
			}
			s[0] = 0
			if grown {
				s[0] = 1
			}
		},

		"__embind_register_class": func(in *instance, s []uint64) {
			name := in.cString(uint32(s[10]))
			in.types[uint32(s[0])] = name
			in.types[uint32(s[1])] = name
			in.types[uint32(s[2])] = name
			in.bind("~"+name, binding{invoker: uint32(s[12]), signature: in.cString(uint32(s[11]))})
		},
		"__embind_register_class_constructor": func(in *instance, s []uint64) {
			in.bind("new "+in.types[uint32(s[0])], binding{invoker: uint32(s[4]), context: uint32(s[5]), signature: in.cString(uint32(s[3]))})
		},
		"__embind_register_class_function": func(in *instance, s []uint64) {
			in.bind(in.types[uint32(s[0])]+"."+in.cString(uint32(s[1])), binding{invoker: uint32(s[5]), context: uint32(s[6]), signature: in.cString(uint32(s[4]))})
		},
		"__embind_register_function": func(in *instance, s []uint64) {
			in.bind(in.cString(uint32(s[0])), binding{invoker: uint32(s[4]), context: uint32(s[5]), signature: in.cString(uint32(s[3]))})
		},
		"__embind_register_memory_view": func(in *instance, s []uint64) {
			in.types[uint32(s[0])] = "view"
			in.views[uint32(s[0])] = uint32(s[1])
		},
		"__embind_register_emval":              func(in *instance, s []uint64) { in.types[uint32(s[0])] = "val" },
		"__embind_register_bigint":             named,
		"__embind_register_bool":               named,
		"__embind_register_float":              named,
		"__embind_register_integer":            named,
		"__embind_register_std_string":         named,
		"__embind_register_void":               named,
		"__embind_register_enum":               named,
		"__embind_register_value_object":       named,
		"__embind_register_value_object_field": nothing,
		"__embind_finalize_value_object":       nothing,
		"__embind_register_enum_value":         nothing,
		"__embind_register_iterable":           nothing,
		"__embind_register_optional":           nothing,
		"__embind_register_std_wstring":        nothing,

		// The list of values is emptied after every operation, so single
		// values need no counting.
		"__emval_incref":          nothing,
		"__emval_decref":          nothing,
		"__emval_run_destructors": nothing,
		"__emval_new_object":      func(in *instance, s []uint64) { s[0] = uint64(in.newVal(object{})) },
		"__emval_new_cstring":     func(in *instance, s []uint64) { s[0] = uint64(in.newVal(in.cString(uint32(s[0])))) },
		"__emval_equals": func(in *instance, s []uint64) {
			// Asked only of handles, to see whether a property is undefined.
			a, b := uint32(s[0]), uint32(s[1])
			s[0] = 0
			if a == b {
				s[0] = 1
			}
		},
		"__emval_set_property": func(in *instance, s []uint64) {
			o, ok := in.val(s[0]).(object)
			key, named := in.val(s[1]).(string)
			if !ok || !named {
				panic(fmt.Errorf("%w: set property on a value that has none", errThrown))
			}
			o[key] = in.val(s[2])
		},
		"__emval_get_property": func(in *instance, s []uint64) {
			key, _ := in.val(s[1]).(string)
			var v any
			switch o := in.val(s[0]).(type) {
			case object:
				v = o[key]
			case []float32:
				v = float64(len(o))
			case []float64:
				v = float64(len(o))
			case []uint32:
				v = float64(len(o))
			}
			s[0] = valUndefined
			if v != nil {
				s[0] = uint64(in.newVal(v))
			}
		},
		"__emval_array_to_memory_view": func(in *instance, s []uint64) {
			v, ok := in.val(s[0]).(view)
			if !ok {
				panic(fmt.Errorf("%w: copying to what is not memory", errThrown))
			}
			in.fillView(v, in.val(s[1]))
		},
		"__emval_create_invoker": func(in *instance, s []uint64) {
			n, at, kind := uint32(s[0]), uint32(s[1]), uint32(s[2])
			types := make([]uint32, n)
			for i := range types {
				types[i], _ = in.mem.ReadUint32Le(at + 4*uint32(i))
			}
			in.invokers = append(in.invokers, invoker{types, kind})
			s[0] = uint64(len(in.invokers) - 1)
		},
		"__emval_invoke": func(in *instance, s []uint64) {
			s[0] = math.Float64bits(in.invoke(in.invokers[uint32(s[0])], s[1], uint32(s[2]), uint32(s[4])))
		},
	}
}

// invoke calls a host value on the kernel's behalf: handle is the value, name
// points to the method's name, args to 8 bytes per argument.
func (in *instance) invoke(how invoker, handle uint64, name, args uint32) float64 {
	var arg any // of all calls the kernel makes none has more than one argument
	if len(how.types) > 1 {
		t := how.types[1]
		switch in.types[t] {
		case "view":
			n, _ := in.mem.ReadUint32Le(args)
			at, _ := in.mem.ReadUint32Le(args + 4)
			// The wire holds the address of {size, data}, or the pair itself.
			arg = view{in.views[t], n, at}
		case "val":
			h, _ := in.mem.ReadUint32Le(args)
			arg = in.val(uint64(h))
		case "double":
			arg, _ = in.mem.ReadFloat64Le(args)
		case "float":
			f, _ := in.mem.ReadFloat32Le(args)
			arg = float64(f)
		case "int":
			i, _ := in.mem.ReadUint32Le(args)
			arg = float64(int32(i))
		case "unsigned int", "unsigned long", "bool":
			i, _ := in.mem.ReadUint32Le(args)
			arg = float64(i)
		default:
			panic(fmt.Errorf("%w: argument of type %q", errThrown, in.types[t]))
		}
	}
	var result any
	switch how.kind {
	case callCast:
		result = arg
	case callMethod:
		v, ok := in.val(handle).(view)
		if method := in.cString(name); !ok || method != "slice" {
			panic(fmt.Errorf("%w: it called the method %q", errThrown, method))
		}
		result = in.copyView(v)
	default:
		panic(fmt.Errorf("%w: call of kind %d", errThrown, how.kind))
	}
	switch in.types[how.types[0]] {
	case "val":
		return float64(in.newVal(result))
	case "void":
		return 0
	}
	f, ok := result.(float64)
	if !ok {
		panic(fmt.Errorf("%w: %T where a number was wanted", errThrown, result))
	}
	return f
}

func (in *instance) copyView(v view) any {
	switch v.kind {
	case viewFloat32:
		b := in.bytes(v.at, 4*v.count)
		out := make([]float32, len(b)/4)
		for i := range out {
			out[i] = math.Float32frombits(binary.LittleEndian.Uint32(b[4*i:]))
		}
		return out
	case viewFloat64:
		b := in.bytes(v.at, 8*v.count)
		out := make([]float64, len(b)/8)
		for i := range out {
			out[i] = math.Float64frombits(binary.LittleEndian.Uint64(b[8*i:]))
		}
		return out
	default: // the kernel's other arrays hold 32-bit integers, or bytes that nobody reads
		size := uint32(4)
		if v.kind < 2 {
			size = 1
		}
		b := in.bytes(v.at, size*v.count)
		out := make([]uint32, len(b)/int(size))
		for i := range out {
			if size == 1 {
				out[i] = uint32(b[i])
			} else {
				out[i] = binary.LittleEndian.Uint32(b[4*i:])
			}
		}
		return out
	}
}

func (in *instance) fillView(v view, from any) {
	switch src := from.(type) {
	case []float32:
		if b := in.bytes(v.at, 4*v.count); v.kind == viewFloat32 && len(b) == 4*len(src) {
			for i, x := range src {
				binary.LittleEndian.PutUint32(b[4*i:], math.Float32bits(x))
			}
			return
		}
	case []float64:
		if b := in.bytes(v.at, 8*v.count); v.kind == viewFloat64 && len(b) == 8*len(src) {
			for i, x := range src {
				binary.LittleEndian.PutUint64(b[8*i:], math.Float64bits(x))
			}
			return
		}
	case []uint32:
		if b := in.bytes(v.at, 4*v.count); v.kind == viewUint32 && len(b) == 4*len(src) {
			for i, x := range src {
				binary.LittleEndian.PutUint32(b[4*i:], x)
			}
			return
		}
	}
	panic(fmt.Errorf("%w: a %T does not fit into a view of kind %d, %d long", errThrown, from, v.kind, v.count))
}

func (in *instance) newVal(v any) uint32 {
	in.vals = append(in.vals, v)
	return uint32(len(in.vals) - 1)
}

func (in *instance) val(handle uint64) any {
	if h := uint32(handle); int(h) < len(in.vals) {
		return in.vals[h]
	}
	return nil
}

// bytes is the kernel's own memory from at on, not a copy, or nil if it lies outside.
func (in *instance) bytes(at, n uint32) []byte {
	b, _ := in.mem.Read(at, n)
	return b
}

func (in *instance) cString(at uint32) string {
	var b []byte
	for {
		c, ok := in.mem.ReadByte(at)
		if !ok || c == 0 {
			return string(b)
		}
		b = append(b, c)
		at++
	}
}

func (in *instance) bind(name string, b binding) { in.bindings[name] = &b }
