// meshcheck FILE... reads STL files with libassimp and prints one JSON object a
// line for each: file, error (empty if it could be read), triangles, vertices
// (after corners with exactly equal coordinates are joined), shells (connected
// by edges), closed (every edge in two triangles), oriented (in opposite
// directions), degenerate (triangles with equal corners or no area), volume in
// cubic units, area, min, max.
//
// Only the reading is libassimp's: its own joining of vertices works within a
// tolerance, and a check must not close what is open.

#include <assimp/Importer.hpp>
#include <assimp/postprocess.h>
#include <assimp/scene.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <map>
#include <numeric>
#include <string>
#include <vector>

static std::string quoted(const std::string &s) {
	std::string out = "\"";
	for (unsigned char c : s) {
		if (c == '"' || c == '\\') {
			out += '\\';
			out += char(c);
		} else if (c < 0x20) {
			char hex[8];
			snprintf(hex, sizeof hex, "\\u%04x", c);
			out += hex;
		} else {
			out += char(c);
		}
	}
	return out + "\"";
}

using Point = std::array<double, 3>;

static Point sub(const Point &a, const Point &b) { return {a[0] - b[0], a[1] - b[1], a[2] - b[2]}; }
static Point cross(const Point &a, const Point &b) {
	return {a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]};
}
static double dot(const Point &a, const Point &b) { return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]; }

static void check(const char *file) {
	Assimp::Importer importer;
	const aiScene *scene = importer.ReadFile(file, 0);
	if (!scene) {
		printf("{\"file\":%s,\"error\":%s}\n", quoted(file).c_str(), quoted(importer.GetErrorString()).c_str());
		return;
	}
	std::map<Point, int> index;
	std::vector<Point> points;
	std::vector<std::array<int, 3>> triangles;
	for (unsigned m = 0; m < scene->mNumMeshes; m++) {
		const aiMesh *mesh = scene->mMeshes[m];
		for (unsigned f = 0; f < mesh->mNumFaces; f++) {
			const aiFace &face = mesh->mFaces[f];
			if (face.mNumIndices != 3) {
				printf("{\"file\":%s,\"error\":\"a face is not a triangle\"}\n", quoted(file).c_str());
				return;
			}
			std::array<int, 3> t;
			for (int i = 0; i < 3; i++) {
				const aiVector3D &v = mesh->mVertices[face.mIndices[i]];
				Point p = {v.x + 0.0, v.y + 0.0, v.z + 0.0};
				auto [at, fresh] = index.try_emplace(p, int(points.size()));
				if (fresh) points.push_back(p);
				t[i] = at->second;
			}
			triangles.push_back(t);
		}
	}

	std::vector<int> shell(points.size());
	std::iota(shell.begin(), shell.end(), 0);
	auto root = [&](int i) {
		while (shell[i] != i) i = shell[i] = shell[shell[i]];
		return i;
	};

	std::map<std::pair<int, int>, std::pair<int, int>> edges; // uses one way, uses the other
	double volume = 0, area = 0;
	int degenerate = 0;
	Point lo = {INFINITY, INFINITY, INFINITY}, hi = {-INFINITY, -INFINITY, -INFINITY};
	for (auto &t : triangles) {
		// Relative to the first point, so that a far place costs no digits.
		Point a = sub(points[t[0]], points[0]), b = sub(points[t[1]], points[0]), c = sub(points[t[2]], points[0]);
		Point n = cross(sub(b, a), sub(c, a));
		double twice = std::sqrt(dot(n, n));
		if (twice == 0) degenerate++;
		area += twice / 2;
		volume += dot(a, cross(b, c)) / 6;
		for (int i = 0; i < 3; i++) {
			int from = t[i], to = t[(i + 1) % 3];
			auto &use = edges[{std::min(from, to), std::max(from, to)}];
			(from < to ? use.first : use.second)++;
			shell[root(from)] = root(to);
		}
	}
	bool closed = !triangles.empty(), oriented = true;
	for (auto &[edge, use] : edges) {
		if (use.first + use.second != 2) closed = false;
		if (use.first != 1 || use.second != 1) oriented = false;
	}
	int shells = 0;
	for (size_t i = 0; i < points.size(); i++) {
		if (root(int(i)) == int(i)) shells++;
		for (int k = 0; k < 3; k++) {
			lo[k] = std::min(lo[k], points[i][k]);
			hi[k] = std::max(hi[k], points[i][k]);
		}
	}
	if (points.empty()) lo = hi = {0, 0, 0};
	printf("{\"file\":%s,\"error\":\"\",\"triangles\":%zu,\"vertices\":%zu,\"shells\":%d,\"closed\":%s,\"oriented\":%s,"
	       "\"degenerate\":%d,\"volume\":%.17g,\"area\":%.17g,\"min\":[%.9g,%.9g,%.9g],\"max\":[%.9g,%.9g,%.9g]}\n",
	       quoted(file).c_str(), triangles.size(), points.size(), shells, closed ? "true" : "false",
	       oriented ? "true" : "false", degenerate, volume, area, lo[0], lo[1], lo[2], hi[0], hi[1], hi[2]);
}

int main(int argc, char **argv) {
	for (int i = 1; i < argc; i++) check(argv[i]);
}
