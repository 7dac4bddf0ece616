#!/bin/sh
# Installs what `make test-outside` compares with, and the browser that
# `make test-page` opens the page in: `install.sh page` gets that alone.
# Debian packages only; the product itself needs none of them.
set -eu

# package, a file that proves it is there, what it is used for
page='
chromium|/usr/bin/chromium|browser of the page tests, driven by web/e2e; it draws in software
'
references='
g++|/usr/bin/g++|compiles the two mesh checkers
libassimp-dev|/usr/include/assimp/scene.h|reads STL files
assimp-utils|/usr/bin/assimp|mesh command line
lib3mf-dev|/usr/include/lib3mf/Model/COM/NMR_DLLInterfaces.h|3MF consortium reader
python3-ezdxf|/usr/lib/python3/dist-packages/ezdxf/__init__.py|reads and audits DXF
python3-shapely|/usr/lib/python3/dist-packages/shapely/__init__.py|polygon areas and containment
librsvg2-bin|/usr/bin/rsvg-convert|renders SVG
calculix-ccx|/usr/bin/ccx|finite elements
poppler-utils|/usr/bin/pdftotext|reads PDF
postgresql|/usr/lib/postgresql/15/bin/postgres|database of work that several machines share; tests start a server of their own
'

case ${1-} in
page) references=$page ;;
'') references=$page$references ;;
*)
	echo "usage: install.sh [page]" >&2
	exit 2
	;;
esac

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
log=$(mktemp)
trap 'rm -f "$log"' EXIT
get() { apt-get install -y -q --no-install-recommends "$1" >"$log" 2>&1; }
updated=
for name in $missing; do
	if get "$name"; then
		echo "install  $name"
		continue
	fi
	if [ -z "$updated" ]; then # the package lists may be old or absent
		echo "update   package lists"
		updated=yes
		if apt-get update -q >"$log" 2>&1 && get "$name"; then
			echo "install  $name"
			continue
		fi
	fi
	cat "$log" >&2
	echo "install.sh: $name could not be installed" >&2
	exit 1
done
