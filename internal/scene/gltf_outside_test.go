//go:build outside

package scene

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// checker reads a file with libassimp and prints every mesh's name, triangles,
// lines, volume and area in the file's units.
const checker = `
#include <assimp/Importer.hpp>
#include <assimp/scene.h>
#include <cmath>
#include <cstdio>
static void walk(const aiScene *s, const aiNode *n, aiMatrix4x4 m) {
	m = m * n->mTransformation;
	for (unsigned i = 0; i < n->mNumMeshes; i++) {
		const aiMesh *a = s->mMeshes[n->mMeshes[i]];
		double v = 0, area = 0;
		int tris = 0, lines = 0;
		for (unsigned f = 0; f < a->mNumFaces; f++) {
			const aiFace &face = a->mFaces[f];
			if (face.mNumIndices == 2) { lines++; continue; }
			if (face.mNumIndices != 3) continue;
			tris++;
			double p[3][3];
			for (int k = 0; k < 3; k++) {
				aiVector3D q = m * a->mVertices[face.mIndices[k]];
				p[k][0] = q.x; p[k][1] = q.y; p[k][2] = q.z;
			}
			double u[3], w[3];
			for (int k = 0; k < 3; k++) { u[k] = p[1][k] - p[0][k]; w[k] = p[2][k] - p[0][k]; }
			double c[3] = {u[1]*w[2]-u[2]*w[1], u[2]*w[0]-u[0]*w[2], u[0]*w[1]-u[1]*w[0]};
			area += std::sqrt(c[0]*c[0]+c[1]*c[1]+c[2]*c[2]) / 2;
			v += (p[0][0]*c[0] + p[0][1]*c[1] + p[0][2]*c[2]) / 6;
		}
		printf("{\"name\":\"%s\",\"triangles\":%d,\"lines\":%d,\"volume\":%.9g,\"area\":%.9g,\"placed\":%s}\n", n->mName.C_Str(), tris, lines, v, area, a->HasTextureCoords(0) ? "true" : "false");
	}
	for (unsigned i = 0; i < n->mNumChildren; i++) walk(s, n->mChildren[i], m);
}
int main(int argc, char **argv) {
	Assimp::Importer importer;
	const aiScene *s = importer.ReadFile(argv[1], 0);
	if (!s) { fprintf(stderr, "%s\n", importer.GetErrorString()); return 1; }
	walk(s, s->mRootNode, aiMatrix4x4());
}
`

// The files as libassimp reads them: all that is shown, in metres, with our
// volumes and areas.
func TestFilesByLibassimp(t *testing.T) {
	dir := t.TempDir()
	src, bin := filepath.Join(dir, "checker.cpp"), filepath.Join(dir, "checker")
	if err := os.WriteFile(src, []byte(checker), 0o644); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("g++", "-O1", "-o", bin, src, "-lassimp").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s (run tools/outside/install.sh)", err, out)
	}
	for _, name := range pieces() {
		t.Run(name, func(t *testing.T) {
			k, pl := planned(t, name)
			for what, write := range map[string]func(*bytes.Buffer) error{
				"geometry": func(b *bytes.Buffer) error { return Geometry(context.Background(), k, pl, b) },
				"whole":    func(b *bytes.Buffer) error { return Whole(context.Background(), k, pl, b) },
			} {
				var b bytes.Buffer
				if err := write(&b); err != nil {
					t.Fatal(err)
				}
				file := filepath.Join(dir, name+"-"+what+".glb")
				if err := os.WriteFile(file, b.Bytes(), 0o644); err != nil {
					t.Fatal(err)
				}
				cmd := exec.Command(bin, file)
				var fault bytes.Buffer
				cmd.Stderr = &fault
				text, err := cmd.Output()
				if err != nil {
					t.Fatalf("libassimp: %v %s", err, fault.String())
				}
				type seen struct {
					Name             string
					Triangles, Lines int
					Volume, Area     float64
					Placed           bool
				}
				var all []seen
				dec := json.NewDecoder(bytes.NewReader(text))
				for dec.More() {
					var s seen
					if err := dec.Decode(&s); err != nil {
						t.Fatal(err)
					}
					all = append(all, s)
				}
				d := decode(t, b.Bytes())
				shown := 0
				volume := map[string]float64{}
				for _, n := range d.nodes {
					if n.points != nil {
						shown++
					}
				}
				if len(all) != shown {
					t.Errorf("%s: libassimp sees %d meshes, want %d", what, len(all), shown)
				}
				var leaves, ours float64
				for _, n := range d.nodes {
					if n.kind == "member" || n.kind == "segment" {
						volume[n.name] = n.volume()
					}
				}
				for _, s := range all {
					if s.Placed {
						leaves += s.Area * 1e6
					}
					if s.Triangles == 0 && s.Lines == 0 {
						t.Errorf("%s: %s is empty", what, s.Name)
					}
					if v, ok := volume[s.Name]; ok && math.Abs(s.Volume*1e9-v) > 1e-3*v {
						t.Errorf("%s: %s has %.6g mm³ to libassimp, %.6g to us", what, s.Name, s.Volume*1e9, v)
					} else if ok {
						delete(volume, s.Name)
					}
				}
				if len(volume) > 0 {
					t.Errorf("%s: libassimp does not see %v", what, volume)
				}
				for _, n := range d.of("leaf") {
					for i := 0; i < len(n.index); i += 3 {
						a, b, c := n.points[n.index[i]], n.points[n.index[i+1]], n.points[n.index[i+2]]
						ours += b.Sub(a).Cross(c.Sub(a)).Len() / 2
					}
				}
				if rel(leaves, ours) > 1e-3 {
					t.Errorf("%s: leaves of %.6g mm² to libassimp, %.6g to us", what, leaves, ours)
				}
			}
		})
	}
}
