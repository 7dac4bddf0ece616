#!/usr/bin/python3
"""dxfcheck FILE... reads DXF files with ezdxf (Debian python3-ezdxf) and prints
one JSON object a line for each:

  file, error     error is empty if the file could be read
  version         the release, such as AC1009
  audit           every fault that ezdxf's audit found or repaired, as text
  comments        texts of the group code 999
  layers          in the order of the layer table, each
    name, color, lineType
    closed        closed polylines and circles, in order: kind, area (signed,
                  counter-clockwise positive, arcs included), length, min, max
    open          open polylines and lines, in order: kind, length, min, max
    texts         text (codes such as %%d resolved), height, rotation (degrees),
                  at, align

Arcs are what ezdxf makes of a bulge, not our own reading of it.
"""

import json
import math
import sys

import ezdxf
from ezdxf import math as em


def box(points):
    points = list(points)
    return {"min": [min(p[0] for p in points), min(p[1] for p in points)],
            "max": [max(p[0] for p in points), max(p[1] for p in points)]}


def polyline(entity):
    points = [(v.dxf.location.x, v.dxf.location.y, v.dxf.bulge if v.dxf.hasattr("bulge") else 0.0)
              for v in entity.vertices]
    spans = list(zip(points, points[1:] + points[:1]))
    if not entity.is_closed:
        spans = spans[:-1]
    area = length = 0.0
    extremes = list(points)
    for (ax, ay, bulge), (bx, by, _) in spans:
        area += (ax * by - bx * ay) / 2
        if bulge == 0:
            length += math.hypot(bx - ax, by - ay)
            continue
        center, start, end, radius = em.bulge_to_arc((ax, ay), (bx, by), bulge)
        sweep = (end - start) % (2 * math.pi)
        length += radius * sweep
        area += math.copysign(radius * radius * (sweep - math.sin(sweep)) / 2, bulge)
        # Not ezdxf's path flattening, whose cubics leave the arc by 3e-4 of r.
        arc = em.ConstructionArc(center, radius, math.degrees(start), math.degrees(end)).bounding_box
        extremes += [arc.extmin, arc.extmax]
    shape = {"kind": "POLYLINE", "length": length, **box(extremes)}
    if entity.is_closed:
        shape["area"] = area
    return shape


def check(name):
    out = {"file": name, "error": "", "version": "", "audit": [], "comments": [], "layers": []}
    try:
        with open(name, encoding="ascii") as f:
            lines = f.read().split("\n")
        for code, value in zip(lines[::2], lines[1::2]):
            if code.strip() == "999":
                out["comments"].append(value)
        doc = ezdxf.readfile(name)
        audit = doc.audit()
        out["version"] = doc.dxfversion if doc.acad_release == "R12" else doc.acad_release
        out["audit"] = [e.message for e in audit.errors + audit.fixes]
        layers = {}
        for layer in doc.layers:
            layers[layer.dxf.name] = {"name": layer.dxf.name, "color": layer.dxf.color,
                                      "lineType": layer.dxf.linetype, "closed": [], "open": [], "texts": []}
            if not doc.linetypes.has_entry(layer.dxf.linetype):
                out["audit"].append("layer %s has an unknown line type" % layer.dxf.name)
        for e in doc.modelspace():
            if e.dxf.layer not in layers:
                out["audit"].append("%s lies on layer %s, which the table does not have" % (e.dxftype(), e.dxf.layer))
                continue
            layer = layers[e.dxf.layer]
            kind = e.dxftype()
            if kind == "POLYLINE":
                layer["closed" if e.is_closed else "open"].append(polyline(e))
            elif kind == "CIRCLE":
                c, r = e.dxf.center, e.dxf.radius
                layer["closed"].append({"kind": kind, "area": math.pi * r * r, "length": 2 * math.pi * r,
                                        **box([(c.x - r, c.y - r), (c.x + r, c.y + r)])})
            elif kind == "LINE":
                layer["open"].append({"kind": kind, "length": e.dxf.start.distance(e.dxf.end),
                                      **box([e.dxf.start, e.dxf.end])})
            elif kind == "TEXT":
                align, at, _ = e.get_pos()
                layer["texts"].append({"text": e.plain_text(), "height": e.dxf.height,
                                       "rotation": e.dxf.rotation, "at": [at.x, at.y], "align": align})
            else:
                out["audit"].append("unexpected entity %s" % kind)
        out["layers"] = list(layers.values())
    except Exception as err:  # whatever a reader trips over is its verdict
        out["error"] = "%s: %s" % (type(err).__name__, err)
    print(json.dumps(out))


for arg in sys.argv[1:]:
    check(arg)
