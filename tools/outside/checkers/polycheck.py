#!/usr/bin/python3
"""polycheck reads polygon questions from stdin and answers with shapely (GEOS;
Debian python3-shapely).

A region is a list of rings, a ring a list of [x, y] without a repeated end:
counter-clockwise rings are outer ones, clockwise rings are holes.

stdin   {"queries": [{"a": region, "b": region or null}, ...],
         "layouts": [{"sheet": region, "parts": [region, ...]}, ...]}
stdout  {"answers": [...], "layouts": [...]}, in the same order

An answer about a: error, valid, why (what is wrong), area, perimeter, min, max;
and, if b is given: covers (no point of b lies outside a), overlap (area of the
intersection), outside (area of b less a), distance (0 when they touch).

A layout: error, covered (the sheet covers every part), outside (area of parts
beyond the sheet), overlap (the largest common area of two parts) and pair (the
indices of those two), gap (the least distance between two parts; -1 if there
are fewer than two).
"""

import json
import sys

from shapely.geometry import MultiPolygon, Polygon
from shapely.validation import explain_validity


def region(rings):
    """The region with every hole in the smallest outer ring around it."""
    outers, holes = [], []
    for ring in rings:
        p = Polygon(ring)
        (outers if p.exterior.is_ccw else holes).append(p)
    owned = [[] for _ in outers]
    for hole in holes:
        inside = hole.representative_point()
        around = [i for i, o in enumerate(outers) if o.buffer(0).contains(inside)]
        if not around:
            raise ValueError("a hole lies in no outer ring")
        owned[min(around, key=lambda i: outers[i].area)].append(hole.exterior.coords)
    shapes = [Polygon(o.exterior.coords, h) for o, h in zip(outers, owned)]
    return shapes[0] if len(shapes) == 1 else MultiPolygon(shapes)


def sound(rings):
    r = region(rings)
    if not r.is_valid:
        raise ValueError(explain_validity(r))
    return r


def answer(query):
    out = {"error": ""}
    try:
        a = region(query["a"])
        lo_hi = a.bounds or (0, 0, 0, 0)
        out.update(valid=a.is_valid, why="" if a.is_valid else explain_validity(a), area=a.area,
                   perimeter=a.length, min=list(lo_hi[:2]), max=list(lo_hi[2:]))
        if query.get("b") is not None and a.is_valid:
            b = sound(query["b"])
            out.update(covers=a.covers(b), overlap=a.intersection(b).area,
                       outside=b.difference(a).area, distance=a.distance(b))
    except Exception as err:  # what GEOS refuses is the answer
        out["error"] = "%s: %s" % (type(err).__name__, err)
    return out


def layout(query):
    out = {"error": "", "covered": True, "outside": 0.0, "overlap": 0.0, "pair": [-1, -1], "gap": -1.0}
    try:
        sheet = sound(query["sheet"])
        parts = [sound(p) for p in query["parts"]]
        for i, p in enumerate(parts):
            if not sheet.covers(p):
                out["covered"] = False
                out["outside"] += p.difference(sheet).area
            for j in range(i):
                d = p.distance(parts[j])
                if out["gap"] < 0 or d < out["gap"]:
                    out["gap"] = d
                if d == 0:
                    common = p.intersection(parts[j]).area
                    if common > out["overlap"]:
                        out["overlap"], out["pair"] = common, [j, i]
    except Exception as err:
        out["error"] = "%s: %s" % (type(err).__name__, err)
    return out


asked = json.load(sys.stdin)
json.dump({"answers": [answer(q) for q in asked.get("queries") or []],
           "layouts": [layout(q) for q in asked.get("layouts") or []]}, sys.stdout)
