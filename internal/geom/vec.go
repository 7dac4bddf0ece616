package geom

import "math"

// Vec2 is a point or a displacement in a plane, in millimetres.
type Vec2 struct{ X, Y float64 }

// V2 is shorthand for Vec2{x, y}.
func V2(x, y float64) Vec2 { return Vec2{x, y} }

func (a Vec2) Add(b Vec2) Vec2      { return Vec2{a.X + b.X, a.Y + b.Y} }
func (a Vec2) Sub(b Vec2) Vec2      { return Vec2{a.X - b.X, a.Y - b.Y} }
func (a Vec2) Scale(k float64) Vec2 { return Vec2{a.X * k, a.Y * k} }
func (a Vec2) Dot(b Vec2) float64   { return float64(a.X*b.X) + float64(a.Y*b.Y) }
func (a Vec2) Len() float64         { return math.Hypot(a.X, a.Y) }
func (a Vec2) Dist(b Vec2) float64  { return a.Sub(b).Len() }
func (a Vec2) Angle() float64       { return math.Atan2(a.Y, a.X) }
func (a Vec2) Lerp(b Vec2, t float64) Vec2 {
	return Vec2{a.X + float64(t*(b.X-a.X)), a.Y + float64(t*(b.Y-a.Y))}
}

// Cross is the z component of a × b: positive when b lies to the left of a.
func (a Vec2) Cross(b Vec2) float64 { return float64(a.X*b.Y) - float64(a.Y*b.X) }

// Left is a turned a quarter turn counter-clockwise.
func (a Vec2) Left() Vec2 { return Vec2{-a.Y, a.X} }

// Right is a turned a quarter turn clockwise; for the tangent of a closed
// counter-clockwise path it is the outward direction.
func (a Vec2) Right() Vec2 { return Vec2{a.Y, -a.X} }

// Unit is a scaled to length 1; the zero vector stays zero.
func (a Vec2) Unit() Vec2 {
	l := a.Len()
	if l == 0 {
		return a
	}
	return a.Scale(1 / l)
}

// Rotate turns a about the origin by angle radians, counter-clockwise.
func (a Vec2) Rotate(angle float64) Vec2 {
	s, c := math.Sincos(angle)
	return Vec2{float64(a.X*c) - float64(a.Y*s), float64(a.X*s) + float64(a.Y*c)}
}

// Vec3 is a point or a displacement in space, in millimetres.
type Vec3 struct{ X, Y, Z float64 }

// V3 is shorthand for Vec3{x, y, z}.
func V3(x, y, z float64) Vec3 { return Vec3{x, y, z} }

func (a Vec3) Add(b Vec3) Vec3      { return Vec3{a.X + b.X, a.Y + b.Y, a.Z + b.Z} }
func (a Vec3) Sub(b Vec3) Vec3      { return Vec3{a.X - b.X, a.Y - b.Y, a.Z - b.Z} }
func (a Vec3) Scale(k float64) Vec3 { return Vec3{a.X * k, a.Y * k, a.Z * k} }
func (a Vec3) Neg() Vec3            { return Vec3{-a.X, -a.Y, -a.Z} }
func (a Vec3) Dot(b Vec3) float64 {
	return float64(a.X*b.X) + float64(a.Y*b.Y) + float64(a.Z*b.Z)
}
func (a Vec3) Cross(b Vec3) Vec3 {
	return Vec3{
		float64(a.Y*b.Z) - float64(a.Z*b.Y),
		float64(a.Z*b.X) - float64(a.X*b.Z),
		float64(a.X*b.Y) - float64(a.Y*b.X),
	}
}
func (a Vec3) Len() float64                { return math.Sqrt(a.Dot(a)) }
func (a Vec3) Dist(b Vec3) float64         { return a.Sub(b).Len() }
func (a Vec3) XY() Vec2                    { return Vec2{a.X, a.Y} }
func (a Vec3) Lerp(b Vec3, t float64) Vec3 { return a.Add(b.Sub(a).Scale(t)) }

// Unit is a scaled to length 1; the zero vector stays zero.
func (a Vec3) Unit() Vec3 {
	l := a.Len()
	if l == 0 {
		return a
	}
	return a.Scale(1 / l)
}

// Frame is a right-handed orthonormal coordinate frame: an origin and three
// unit axes given in the coordinates of the enclosing frame.
type Frame struct{ Origin, X, Y, Z Vec3 }

// World is the identity frame.
func World() Frame { return Frame{X: V3(1, 0, 0), Y: V3(0, 1, 0), Z: V3(0, 0, 1)} }

// FrameFromZ is a frame at origin whose Z axis is z. Its X axis is the world
// axis least parallel to z, made square to it; ties go to the earlier axis,
// so the choice never depends on rounding order.
func FrameFromZ(origin, z Vec3) Frame {
	z = z.Unit()
	x := V3(1, 0, 0)
	ax, ay, az := math.Abs(z.X), math.Abs(z.Y), math.Abs(z.Z)
	const clear = 1e-9 // prefer the earlier axis unless the later is clearly better
	if ay < ax-clear {
		x = V3(0, 1, 0)
		if az < ay-clear {
			x = V3(0, 0, 1)
		}
	} else if az < ax-clear {
		x = V3(0, 0, 1)
	}
	x = x.Sub(z.Scale(x.Dot(z))).Unit()
	return Frame{Origin: origin, X: x, Y: z.Cross(x), Z: z}
}

// FrameFromXZ is a frame at origin with the Z axis z and an X axis as near to
// x as squareness allows. x must not be parallel to z.
func FrameFromXZ(origin, x, z Vec3) Frame {
	z = z.Unit()
	x = x.Sub(z.Scale(x.Dot(z))).Unit()
	return Frame{Origin: origin, X: x, Y: z.Cross(x), Z: z}
}

// Point carries a point from f's coordinates to the enclosing ones.
func (f Frame) Point(p Vec3) Vec3 { return f.Origin.Add(f.Dir(p)) }

// Dir carries a direction from f's coordinates to the enclosing ones.
func (f Frame) Dir(d Vec3) Vec3 {
	return f.X.Scale(d.X).Add(f.Y.Scale(d.Y)).Add(f.Z.Scale(d.Z))
}

// Local carries a point from the enclosing coordinates to f's.
func (f Frame) Local(p Vec3) Vec3 { return f.LocalDir(p.Sub(f.Origin)) }

// LocalDir carries a direction from the enclosing coordinates to f's.
func (f Frame) LocalDir(d Vec3) Vec3 { return Vec3{d.Dot(f.X), d.Dot(f.Y), d.Dot(f.Z)} }

// In is f, given in g's coordinates, expressed in g's enclosing coordinates.
func (f Frame) In(g Frame) Frame {
	return Frame{Origin: g.Point(f.Origin), X: g.Dir(f.X), Y: g.Dir(f.Y), Z: g.Dir(f.Z)}
}

// Inverse is the frame that undoes f: f.Inverse().Point(f.Point(p)) == p.
func (f Frame) Inverse() Frame {
	return Frame{
		Origin: f.Local(Vec3{}),
		X:      Vec3{f.X.X, f.Y.X, f.Z.X},
		Y:      Vec3{f.X.Y, f.Y.Y, f.Z.Y},
		Z:      Vec3{f.X.Z, f.Y.Z, f.Z.Z},
	}
}

// Plane is the set of points p with Normal·p = D. Where a plane bounds
// material, Normal points out of it.
type Plane struct {
	Normal Vec3 // unit length
	D      float64
}

// PlaneAt is the plane through p with the outward normal n.
func PlaneAt(p, n Vec3) Plane { n = n.Unit(); return Plane{n, n.Dot(p)} }

// Distance is the signed distance of p from the plane, positive on the side
// that the normal points to.
func (pl Plane) Distance(p Vec3) float64 { return pl.Normal.Dot(p) - pl.D }

// Flip is the same plane seen from the other side.
func (pl Plane) Flip() Plane { return Plane{pl.Normal.Neg(), -pl.D} }

// Local is the plane expressed in f's coordinates.
func (pl Plane) Local(f Frame) Plane {
	return Plane{f.LocalDir(pl.Normal), pl.D - pl.Normal.Dot(f.Origin)}
}

// In is the plane, given in f's coordinates, in f's enclosing coordinates.
func (pl Plane) In(f Frame) Plane {
	n := f.Dir(pl.Normal)
	return Plane{n, pl.D + n.Dot(f.Origin)}
}

// Box2 is an axis-parallel rectangle; the zero value of EmptyBox2 grows from nothing.
type Box2 struct{ Min, Max Vec2 }

// EmptyBox2 contains no point.
func EmptyBox2() Box2 {
	i := math.Inf(1)
	return Box2{Vec2{i, i}, Vec2{-i, -i}}
}

func (b Box2) Add(p Vec2) Box2 {
	return Box2{Vec2{min(b.Min.X, p.X), min(b.Min.Y, p.Y)}, Vec2{max(b.Max.X, p.X), max(b.Max.Y, p.Y)}}
}
func (b Box2) Union(c Box2) Box2 { return b.Add(c.Min).Add(c.Max) }
func (b Box2) Size() Vec2        { return b.Max.Sub(b.Min) }
func (b Box2) Center() Vec2      { return b.Min.Lerp(b.Max, 0.5) }
func (b Box2) Empty() bool       { return b.Min.X > b.Max.X || b.Min.Y > b.Max.Y }

// Grow is the box with every side moved outward by d.
func (b Box2) Grow(d float64) Box2 {
	return Box2{Vec2{b.Min.X - d, b.Min.Y - d}, Vec2{b.Max.X + d, b.Max.Y + d}}
}

// Overlaps reports whether the boxes share a point.
func (b Box2) Overlaps(c Box2) bool {
	return b.Min.X <= c.Max.X && c.Min.X <= b.Max.X && b.Min.Y <= c.Max.Y && c.Min.Y <= b.Max.Y
}

// Box3 is an axis-parallel box.
type Box3 struct{ Min, Max Vec3 }

// EmptyBox3 contains no point.
func EmptyBox3() Box3 {
	i := math.Inf(1)
	return Box3{Vec3{i, i, i}, Vec3{-i, -i, -i}}
}

func (b Box3) Add(p Vec3) Box3 {
	return Box3{
		Vec3{min(b.Min.X, p.X), min(b.Min.Y, p.Y), min(b.Min.Z, p.Z)},
		Vec3{max(b.Max.X, p.X), max(b.Max.Y, p.Y), max(b.Max.Z, p.Z)},
	}
}
func (b Box3) Union(c Box3) Box3 { return b.Add(c.Min).Add(c.Max) }
func (b Box3) Size() Vec3        { return b.Max.Sub(b.Min) }
func (b Box3) Center() Vec3      { return b.Min.Lerp(b.Max, 0.5) }
func (b Box3) Empty() bool       { return b.Min.X > b.Max.X || b.Min.Y > b.Max.Y || b.Min.Z > b.Max.Z }

// Grow is the box with every side moved outward by d.
func (b Box3) Grow(d float64) Box3 {
	return Box3{b.Min.Sub(Vec3{d, d, d}), b.Max.Add(Vec3{d, d, d})}
}

// Overlaps reports whether the boxes share a point.
func (b Box3) Overlaps(c Box3) bool {
	return b.Min.X <= c.Max.X && c.Min.X <= b.Max.X && b.Min.Y <= c.Max.Y && c.Min.Y <= b.Max.Y &&
		b.Min.Z <= c.Max.Z && c.Min.Z <= b.Max.Z
}
