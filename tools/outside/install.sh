#!/bin/sh
# Installs the outside references that `make test-outside` compares with.
# Debian packages only; the product itself needs none of them.
set -eu

# package, a file that proves it is there, what it is used for
references='
g++|/usr/bin/g++|compiles the two mesh checkers
libassimp-dev|/usr/include/assimp/scene.h|reads STL files
assimp-utils|/usr/bin/assimp|mesh command line
lib3mf-dev|/usr/include/lib3mf/Model/COM/NMR_DLLInterfaces.h|3MF consortium reader
python3-ezdxf|/usr/lib/python3/dist-packages/ezdxf/__init__.py|reads and audits DXF
python3-shapely|/usr/lib/python3/dist-packages/shapely/__init__.py|polygon areas and containment
librsvg2-bin|/usr/bin/rsvg-convert|renders SVG
poppler-utils|/usr/bin/pdftotext|reads PDF
'

missing=
for line in $(echo "$references" | cut -d'|' -f1,2); do
	name=${line%%|*}
	if [ -e "${line#*|}" ]; then
		echo "have     $name"
	else
		echo "missing  $name"
		missing="$missing $name"
	fi
done
[ -n "$missing" ] || exit 0

if [ "$(id -u)" != 0 ]; then
	echo "install.sh must be run as root (or install by hand:$missing)" >&2
	exit 1
fi
command -v apt-get >/dev/null || {
	echo "install.sh needs apt-get (Debian); install by hand:$missing" >&2
	exit 1
}

export DEBIAN_FRONTEND=noninteractive
updated=
for name in $missing; do
	if ! apt-get install -y -q --no-install-recommends "$name" >/tmp/groundwork-install.log 2>&1; then
		if [ -z "$updated" ]; then
			echo "update   package lists"
			apt-get update -q >/tmp/groundwork-install.log 2>&1 || { cat /tmp/groundwork-install.log >&2; exit 1; }
			updated=yes
			apt-get install -y -q --no-install-recommends "$name" >/tmp/groundwork-install.log 2>&1 || { cat /tmp/groundwork-install.log >&2; exit 1; }
		else
			cat /tmp/groundwork-install.log >&2
			exit 1
		fi
	fi
	echo "install  $name"
done
