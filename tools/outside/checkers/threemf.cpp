// threemf FILE... reads 3MF files with lib3mf (the 3MF Consortium's library) and
// prints one JSON object a line for each: file, error (empty if it could be
// read), warnings (the reader's texts), and items, in build order: name and
// objectPartNumber of the object, partNumber of the item, manifold (closed and
// oriented, in lib3mf's judgement), triangles, volume with the item's transform,
// min, max. Files must also pass in the reader's strict mode, where each warning
// is an error. Only mesh objects are taken, not components.

#include "Model/COM/NMR_DLLInterfaces.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <stdexcept>
#include <string>
#include <vector>

using namespace NMR;

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

// must turns a failed call into an exception with the library's own text.
static void must(LIB3MFRESULT result, PLib3MFBase *who, const char *what) {
	if (result == 0) return;
	DWORD code = 0;
	LPCSTR text = nullptr;
	if (who) lib3mf_getlasterror(who, &code, &text);
	throw std::runtime_error(std::string(what) + ": " + (text && *text ? text : "error " + std::to_string(result)));
}

template <typename Get> static std::string text(Get get) {
	ULONG need = 0;
	if (get(nullptr, 0, &need) != 0) return "";
	std::vector<char> buffer(need + 1, 0);
	if (get(buffer.data(), ULONG(buffer.size()), &need) != 0) return "";
	return buffer.data();
}

static std::string item(PLib3MFModelBuildItem *build) {
	PLib3MFModelObjectResource *object = nullptr;
	must(lib3mf_builditem_getobjectresource(build, &object), build, "object of item");
	BOOL isMesh = 0;
	must(lib3mf_object_ismeshobject(object, &isMesh), object, "kind of object");
	if (!isMesh) throw std::runtime_error("an item is not a mesh object");

	BOOL manifold = 0;
	must(lib3mf_meshobject_ismanifoldandoriented(object, &manifold), object, "manifold");
	DWORD nv = 0, nt = 0;
	must(lib3mf_meshobject_getvertexcount(object, &nv), object, "vertex count");
	must(lib3mf_meshobject_gettrianglecount(object, &nt), object, "triangle count");
	std::vector<MODELMESHVERTEX> vertices(nv);
	std::vector<MODELMESHTRIANGLE> triangles(nt);
	must(lib3mf_meshobject_getvertices(object, vertices.data(), nv, nullptr), object, "vertices");
	must(lib3mf_meshobject_gettriangleindices(object, triangles.data(), nt, nullptr), object, "triangles");

	MODELTRANSFORM m = {};
	must(lib3mf_builditem_getobjecttransform(build, &m), build, "transform");
	std::vector<std::array<double, 3>> p(nv);
	std::array<double, 3> lo = {INFINITY, INFINITY, INFINITY}, hi = {-INFINITY, -INFINITY, -INFINITY};
	for (DWORD i = 0; i < nv; i++) {
		for (int k = 0; k < 3; k++) {
			p[i][k] = m.m_fFields[k][3];
			for (int j = 0; j < 3; j++) p[i][k] += double(m.m_fFields[k][j]) * vertices[i].m_fPosition[j];
			lo[k] = std::min(lo[k], p[i][k]);
			hi[k] = std::max(hi[k], p[i][k]);
		}
	}
	double volume = 0;
	for (auto &t : triangles) {
		std::array<std::array<double, 3>, 3> q;
		for (int i = 0; i < 3; i++)
			for (int k = 0; k < 3; k++) q[i][k] = p[t.m_nIndices[i]][k] - p[0][k];
		volume += (q[0][0] * (q[1][1] * q[2][2] - q[1][2] * q[2][1]) + q[0][1] * (q[1][2] * q[2][0] - q[1][0] * q[2][2]) +
		           q[0][2] * (q[1][0] * q[2][1] - q[1][1] * q[2][0])) / 6;
	}
	std::string name = text([&](char *b, ULONG n, ULONG *need) { return lib3mf_object_getnameutf8(object, b, n, need); });
	std::string objectPart = text([&](char *b, ULONG n, ULONG *need) { return lib3mf_object_getpartnumberutf8(object, b, n, need); });
	std::string part = text([&](char *b, ULONG n, ULONG *need) { return lib3mf_builditem_getpartnumberutf8(build, b, n, need); });
	char numbers[512];
	snprintf(numbers, sizeof numbers,
	         "\"manifold\":%s,\"triangles\":%u,\"volume\":%.17g,\"min\":[%.9g,%.9g,%.9g],\"max\":[%.9g,%.9g,%.9g]",
	         manifold ? "true" : "false", nt, volume, lo[0], lo[1], lo[2], hi[0], hi[1], hi[2]);
	lib3mf_release(object);
	return "{\"name\":" + quoted(name) + ",\"objectPartNumber\":" + quoted(objectPart) + ",\"partNumber\":" + quoted(part) +
	       "," + numbers + "}";
}

static PLib3MFModelReader *read(PLib3MFModel *model, const char *file, BOOL strict) {
	PLib3MFModelReader *reader = nullptr;
	must(lib3mf_model_queryreader(model, "3mf", &reader), model, "reader");
	must(lib3mf_reader_setstrictmodeactive(reader, strict), reader, "strict mode");
	must(lib3mf_reader_readfromfileutf8(reader, file), reader, strict ? "strict reading" : "reading");
	return reader;
}

static void check(const char *file) {
	try {
		PLib3MFModel *model = nullptr, *again = nullptr;
		must(lib3mf_createmodel(&model), nullptr, "model");
		PLib3MFModelReader *reader = read(model, file, 0);
		std::string warnings;
		DWORD count = 0;
		must(lib3mf_reader_getwarningcount(reader, &count), reader, "warnings");
		for (DWORD i = 0; i < count; i++) {
			DWORD code = 0;
			std::string w = text([&](char *b, ULONG n, ULONG *need) { return lib3mf_reader_getwarningutf8(reader, i, &code, b, n, need); });
			warnings += (i ? "," : "") + quoted(std::to_string(code) + " " + w);
		}
		std::string items;
		PLib3MFModelBuildItemIterator *it = nullptr;
		must(lib3mf_model_getbuilditems(model, &it), model, "build items");
		for (;;) {
			BOOL more = 0;
			must(lib3mf_builditemiterator_movenext(it, &more), it, "next item");
			if (!more) break;
			PLib3MFModelBuildItem *build = nullptr;
			must(lib3mf_builditemiterator_getcurrent(it, &build), it, "item");
			items += (items.empty() ? "" : ",") + item(build);
			lib3mf_release(build);
		}
		if (count == 0) {
			must(lib3mf_createmodel(&again), nullptr, "model");
			lib3mf_release(read(again, file, 1));
			lib3mf_release(again);
		}
		printf("{\"file\":%s,\"error\":\"\",\"warnings\":[%s],\"items\":[%s]}\n", quoted(file).c_str(), warnings.c_str(), items.c_str());
		lib3mf_release(it);
		lib3mf_release(reader);
		lib3mf_release(model);
	} catch (const std::exception &e) {
		printf("{\"file\":%s,\"error\":%s,\"warnings\":[],\"items\":[]}\n", quoted(file).c_str(), quoted(e.what()).c_str());
	}
}

int main(int argc, char **argv) {
	for (int i = 1; i < argc; i++) check(argv[i]);
}
