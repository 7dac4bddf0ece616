package api

import (
	"archive/zip"
	"bufio"
	"bytes"
	"compress/flate"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"io"
	"math"
	"net"
	"net/http"
	"os"
	"runtime"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"
)

// upload sends a file as the page does.
func (c *served) upload(kind, name string, data []byte) (status int, out Uploaded, p Problem) {
	c.t.Helper()
	status, text, _ := c.send("POST", "/api/uploads/"+kind+"/"+name, bytes.NewReader(data), map[string]string{tokenHeader: c.token, "Content-Type": "application/octet-stream"})
	var into any = &out
	if status >= 400 {
		into = &p
	}
	if err := json.Unmarshal([]byte(text), into); err != nil {
		c.t.Fatalf("%s: status %d: %s", name, status, text)
	}
	if status >= 400 && (p.Detail == "" || p.Remedy == "") {
		c.t.Errorf("%s: the problem is %s", name, text)
	}
	return status, out, p
}

// held are the names in a folder, but for the history.
func held(t *testing.T, dir string) (names []string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if e.Name() != ".groundwork" {
			names = append(names, e.Name())
		}
	}
	return names
}

func picture(t *testing.T, w, h int, encode func(io.Writer, image.Image) error) []byte {
	t.Helper()
	m := image.NewGray(image.Rect(0, 0, w, h))
	m.Set(1, 1, color.White)
	var b bytes.Buffer
	if err := encode(&b, m); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func asJPEG(w io.Writer, m image.Image) error { return jpeg.Encode(w, m, nil) }

// withExif puts an Exif segment (APP1, CIPA DC-008) behind a JPEG's first marker.
func withExif(data []byte) []byte {
	segment := append([]byte{0xFF, 0xE1, 0, 10}, "Exif\x00\x00II"...)
	return slices.Concat(data[:2], segment, data[2:])
}

// hugePNG is the head of a PNG that says it has many pixels (ISO/IEC 15948, 11.2.2).
func hugePNG(w, h uint32) []byte {
	head := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32([]byte("IHDR"), w), h)
	head = append(head, 8, 0, 0, 0, 0)
	out := append([]byte("\x89PNG\r\n\x1a\n\x00\x00\x00\r"), head...)
	return binary.BigEndian.AppendUint32(out, crc32.ChecksumIEEE(head))
}

func TestPhotographs(t *testing.T) {
	c := serve(t, t.TempDir())
	small, other := picture(t, 40, 30, png.Encode), picture(t, 41, 30, png.Encode)
	photo := picture(t, 40, 30, asJPEG)
	events := c.listen("/api/events")
	if status, out, _ := c.upload("photograph", "walnut%201.png", small); status != 200 || out.File != "walnut 1.png" || out.Pieces == nil || len(out.Findings) != 0 {
		t.Errorf("a photograph: status %d, %+v", status, out)
	}
	until(t, events, "change")
	status, b, h := c.send("GET", "/photographs/walnut%201.png", nil, nil)
	if status != 200 || b != string(small) || h.Get("Content-Type") != "image/png" {
		t.Errorf("fetched: status %d, %v", status, h)
	}
	if status, out, _ := c.upload("photograph", "a.jpg", withExif(photo)); status != 200 || len(out.Findings) != 1 || !strings.Contains(out.Findings[0].Message, "camera") {
		t.Errorf("with Exif: status %d, %+v", status, out)
	}
	if status, _, _ := c.upload("photograph", "walnut%201.png", small); status != 200 {
		t.Errorf("the same again: status %d", status)
	}
	before := held(t, c.dir)
	for _, k := range []struct {
		kind, name string
		data       []byte
		want       int
	}{
		{"photograph", "walnut%201.png", other, 409},
		{"photograph", "b.png", photo, 415},
		{"photograph", "b.jpg", small, 415},
		{"photograph", "b.jpg", []byte("<svg onload=alert(1)>"), 415},
		{"photograph", "b.jpg", nil, 415},
		{"photograph", "b.jpg", photo[:20], 415},
		{"photograph", "b.png", hugePNG(20_000, 20_000), 413},
		{"photograph", "b.png", hugePNG(math.MaxInt32, math.MaxInt32), 415},
		{"photograph", "b.svg", []byte("<svg/>"), 422},
		{"photograph", "b.html", []byte("<script>"), 422},
		{"photograph", "b.stl", small, 415},
		{"solid", "b.png", small, 415},
		{"drawing", "b.png", small, 404},
		{"photograph", ".b.png", small, 422},
		{"photograph", "CON.png", small, 422},
	} {
		if status, _, p := c.upload(k.kind, k.name, k.data); status != k.want {
			t.Errorf("%s %s: status %d, want %d: %s", k.kind, k.name, status, k.want, p.Detail)
		}
	}
	if now := held(t, c.dir); !slices.Equal(now, before) {
		t.Errorf("what was refused left %v", now)
	}
	for _, name := range []string{"none.png", "shop.yaml", "trestle.yaml", "x"} {
		if status, _, _ := c.send("GET", "/photographs/"+name, nil, nil); status != 404 && status != 422 {
			t.Errorf("%s: status %d", name, status)
		}
	}
}

// stl is a binary STL file of a box in mm.
func stl(x, y, z float32) []byte {
	corner := func(i int) [3]float32 {
		return [3]float32{x * float32(i&1), y * float32(i>>1&1), z * float32(i>>2&1)}
	}
	faces := [][4]int{{0, 2, 3, 1}, {4, 5, 7, 6}, {0, 1, 5, 4}, {2, 6, 7, 3}, {0, 4, 6, 2}, {1, 3, 7, 5}}
	b := binary.LittleEndian.AppendUint32(make([]byte, 80), uint32(2*len(faces)))
	for _, f := range faces {
		for _, tri := range [][3]int{{f[0], f[1], f[2]}, {f[0], f[2], f[3]}} {
			b = append(b, make([]byte, 12)...) // the normal, which readers leave alone
			for _, i := range tri {
				for _, v := range corner(i) {
					b = binary.LittleEndian.AppendUint32(b, math.Float32bits(v))
				}
			}
			b = append(b, 0, 0)
		}
	}
	return b
}

func TestSolids(t *testing.T) {
	c := serve(t, t.TempDir())
	board := stl(300, 200, 19)
	status, out, p := c.upload("solid", "My%20Board.stl", board)
	if status != 200 || out.File != "My Board.stl" || len(out.Pieces) != 1 || out.Pieces[0] != "my-board.yaml" {
		t.Fatalf("a board: status %d, %+v %+v", status, out, p)
	}
	got := c.piece("my-board.yaml")
	if len(got.Faults) != 0 || !strings.Contains(got.Text, "My Board.stl") && !strings.Contains(got.Text, "board:") {
		t.Errorf("its piece is %s, %+v", got.Text, got.Faults)
	}
	c.plan(PlanOrder{Piece: "my-board.yaml"})
	// The same solid again makes another piece, not a change to the first.
	if status, out, _ := c.upload("solid", "My%20Board.stl", board); status != 200 || out.Pieces[0] != "my-board-2.yaml" {
		t.Errorf("again: status %d, %+v", status, out)
	}
	before := held(t, c.dir)
	open := slices.Clone(board) // with four of its triangles gone
	binary.LittleEndian.PutUint32(open[80:], 8)
	open = open[:84+8*50]
	nan := slices.Clone(board)
	binary.LittleEndian.PutUint32(nan[84+12:], math.Float32bits(float32(math.NaN())))
	for name, k := range map[string]struct {
		data []byte
		says string
	}{
		"cut short": {board[:len(board)-70], `"bad.stl" is cut short`}, "open": {open, ""}, "no numbers": {nan, `"bad.stl" holds a corner`}, "empty": {nil, `"bad.stl" is empty`},
		"text": {[]byte("hello"), `"bad.stl" is damaged`}, "none": {stl(0, 0, 0), `"bad.stl" has no size`}, "another format": {[]byte("ISO-10303-21;\n"), `"bad.stl" cannot be used: it is a STEP file`},
		"a count that lies": {append(append(make([]byte, 80), 0xFF, 0xFF, 0xFF, 0xFF), board[84:]...), `"bad.stl" is cut short`},
	} {
		status, out, p := c.upload("solid", "bad.stl", k.data)
		t.Logf("%s: %s; %s", name, p.Detail, p.Remedy)
		if !strings.HasPrefix(p.Detail, k.says) || strings.Count(p.Detail, "bad.stl") != 1 {
			t.Errorf("%s: %s", name, p.Detail)
		}
		for _, f := range p.Faults { // told once
			if strings.Contains(p.Detail, f.Message) {
				t.Errorf("%s: %s, and again %s", name, p.Detail, f.Message)
			}
		}
		if status != 422 {
			t.Errorf("%s: status %d: %+v", name, status, out)
		} else if strings.Contains(p.Detail, c.dir) || strings.Contains(p.Detail, "/tmp") {
			t.Errorf("%s: %s", name, p.Detail)
		}
	}
	if now := held(t, c.dir); !slices.Equal(now, before) {
		t.Errorf("what was refused left %v", now)
	}
	if status, _, _ := c.upload("solid", "My%20Board.stl", stl(300, 200, 20)); status != 409 {
		t.Errorf("another under its name: status %d", status)
	}
	if now := held(t, c.dir); !slices.Equal(now, before) {
		t.Errorf("what was refused left %v", now)
	}
}

// A file that states no unit is taken to be in the likeliest one, and the maker
// is told what others would make of it. Lengths of units: the inch is 25.4 mm
// (international yard and pound agreement, 1959).
func TestUnits(t *testing.T) {
	c := serve(t, t.TempDir())
	box := stl(100, 100, 100)
	_, out, p := c.upload("solid", "box.stl", box)
	want := []UnitChoice{{"mm", 100, false}, {"cm", 1000, true}, {"m", 100_000, false}, {"in", 2540, false}}
	if !slices.Equal(out.Units, want) {
		t.Errorf("units %+v, want %+v; %+v", out.Units, want, p)
	}
	for _, f := range out.Findings {
		if strings.Contains(f.Remedy, "--") {
			t.Errorf("%s: a page has no command line: %s", f.Code, f.Remedy)
		}
	}
	for unit, length := range map[string]float64{"mm": 100, "cm": 1000, "in": 2540} {
		_, out, p := c.upload("solid", "box.stl?unit="+unit, box)
		if len(out.Pieces) != 1 {
			t.Fatalf("%s: %+v", unit, p)
		}
		for _, u := range out.Units {
			if u.Taken != (u.Unit == unit) || u.Taken && u.Length != length {
				t.Errorf("in %s: %+v", unit, out.Units)
			}
		}
		if got := c.piece(out.Pieces[0]); unit != "mm" && !strings.Contains(got.Text, "unit: "+unit) {
			t.Errorf("in %s: %s", unit, got.Text)
		}
	}
	for _, unit := range []string{"ell", "ft", "MM", "um"} {
		if status, _, _ := c.upload("solid", "box.stl?unit="+unit, box); status != 422 {
			t.Errorf("in %s: status %d", unit, status)
		}
	}
	if status, _, _ := c.upload("photograph", "a.png?unit=mm", picture(t, 4, 3, png.Encode)); status != 422 {
		t.Errorf("a photograph in mm: status %d", status)
	}
}

// peak is the most memory that the program holds while f runs, bytes above what
// it held before.
func peak(f func()) int64 {
	read := func() int64 {
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return int64(m.HeapInuse + m.StackInuse)
	}
	runtime.GC()
	before := read()
	var most atomic.Int64
	done := make(chan struct{})
	watched := make(chan struct{})
	go func() {
		defer close(watched)
		for {
			select {
			case <-done:
				return
			case <-time.After(5 * time.Millisecond):
				most.Store(max(most.Load(), read()-before))
			}
		}
	}()
	f()
	close(done)
	<-watched
	return most.Load()
}

// A 3MF that grows to far more than it is when it is unpacked (ISO/IEC 21320-1
// zip with DEFLATE packs blanks a thousand to one) is refused in time and in
// memory, and leaves nothing behind.
func TestZipBomb(t *testing.T) {
	c := serve(t, t.TempDir())
	const size = 640 << 20 // more than any part may have
	packed, sum := blanks(t, size)
	for _, told := range []uint64{size, 1000} { // what the archive says of it
		var b bytes.Buffer
		z := zip.NewWriter(&b)
		for _, f := range []struct{ name, text string }{
			{"[Content_Types].xml", `<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>`},
			{"_rels/.rels", `<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Target="/3D/3dmodel.model" Id="a" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>`},
		} {
			w, err := z.Create(f.name)
			if err != nil {
				t.Fatal(err)
			}
			io.WriteString(w, f.text)
		}
		w, err := z.CreateRaw(&zip.FileHeader{Name: "3D/3dmodel.model", Method: zip.Deflate, CRC32: sum, CompressedSize64: uint64(len(packed)), UncompressedSize64: told})
		if err != nil {
			t.Fatal(err)
		}
		w.Write(packed)
		z.Close()
		var status int
		var p Problem
		start := time.Now()
		most := peak(func() { status, _, p = c.upload("solid", "bomb.3mf", b.Bytes()) })
		t.Logf("%d kB that grow to %d MiB and say %d bytes: status %d after %v, at most %d MiB more: %s", b.Len()>>10, size>>20, told, status, time.Since(start), most>>20, p.Detail)
		if status != 422 || len(held(t, c.dir)) != 0 {
			t.Errorf("status %d, the folder holds %v", status, held(t, c.dir))
		}
		if most > 64<<20 {
			t.Errorf("it took %d MiB", most>>20)
		}
	}
}

// blanks are so many spaces as DEFLATE packs them, and their CRC-32.
func blanks(t *testing.T, size int) (packed []byte, sum uint32) {
	t.Helper()
	var b bytes.Buffer
	w, err := flate.NewWriter(&b, flate.BestSpeed)
	if err != nil {
		t.Fatal(err)
	}
	block := bytes.Repeat([]byte(" "), 1<<20)
	for range size >> 20 {
		w.Write(block)
		sum = crc32.Update(sum, crc32.IEEETable, block)
	}
	w.Close()
	return b.Bytes(), sum
}

// An upload without an end is cut off at its limit, and is nowhere held in
// memory.
func TestEndlessUploads(t *testing.T) {
	for _, k := range []struct {
		kind, name string
		head       []byte
		limit      int64
	}{
		{"photograph", "endless.png", hugePNG(4000, 3000), maxPhotograph},
		{"photograph", "noise.png", nil, maxPhotograph},
		{"solid", "endless.stl", nil, maxSolid},
	} {
		t.Run(k.name, func(t *testing.T) {
			c := serve(t, t.TempDir())
			var sent atomic.Int64
			var status int
			most := peak(func() {
				conn, err := net.Dial("tcp", c.at)
				if err != nil {
					t.Fatal(err)
				}
				defer conn.Close()
				fmt.Fprintf(conn, "POST /api/uploads/%s/%s HTTP/1.1\r\nHost: %s\r\n%s: %s\r\nTransfer-Encoding: chunked\r\n\r\n", k.kind, k.name, c.at, tokenHeader, c.token)
				go func() { // 1 GB
					fmt.Fprintf(conn, "%x\r\n%s\r\n", len(k.head)+1, string(k.head)+"\x00")
					block := append(append([]byte("10000\r\n"), make([]byte, 1<<16)...), '\r', '\n')
					for sent.Load() < 1<<30 {
						if _, err := conn.Write(block); err != nil {
							return
						}
						sent.Add(1 << 16)
					}
				}()
				conn.SetReadDeadline(time.Now().Add(time.Minute))
				res, err := http.ReadResponse(bufio.NewReader(conn), nil)
				if err != nil {
					t.Fatal(err)
				}
				status = res.StatusCode
				res.Body.Close()
			})
			t.Logf("status %d after %d MB, at most %.1f MiB more in memory", status, sent.Load()/1e6, float64(most)/(1<<20))
			if k.head == nil && k.kind == "photograph" {
				if status != 415 { // known by its first bytes
					t.Errorf("status %d", status)
				}
			} else if status != 413 || sent.Load() < k.limit {
				t.Errorf("status %d", status)
			}
			if sent.Load() > k.limit+16<<20 { // what lies in the sockets
				t.Errorf("%d MB were taken", sent.Load()/1e6)
			}
			if most > 16<<20 {
				t.Errorf("it took %d MiB of memory", most>>20)
			}
			if left := held(t, c.dir); len(left) != 0 {
				t.Errorf("it left %v", left)
			}
			// One that says how long it is is refused at once.
			conn, err := net.Dial("tcp", c.at)
			if err != nil {
				t.Fatal(err)
			}
			defer conn.Close()
			fmt.Fprintf(conn, "POST /api/uploads/%s/%s HTTP/1.1\r\nHost: %s\r\n%s: %s\r\nContent-Length: 1000000000\r\n\r\n", k.kind, k.name, c.at, tokenHeader, c.token)
			conn.SetReadDeadline(time.Now().Add(10 * time.Second))
			if res, err := http.ReadResponse(bufio.NewReader(conn), nil); err != nil || res.StatusCode != 413 {
				t.Errorf("1 GB announced: %v, %v", res, err)
			}
		})
	}
}

// An upload that breaks off leaves nothing behind.
func TestBrokenUpload(t *testing.T) {
	c := serve(t, t.TempDir())
	for _, target := range []string{"photograph/a.png", "solid/a.stl"} {
		conn, err := net.Dial("tcp", c.at)
		if err != nil {
			t.Fatal(err)
		}
		data := picture(t, 400, 300, png.Encode)
		fmt.Fprintf(conn, "POST /api/uploads/%s HTTP/1.1\r\nHost: %s\r\n%s: %s\r\nContent-Length: %d\r\n\r\n", target, c.at, tokenHeader, c.token, len(data)+1000)
		conn.Write(data)
		conn.Close()
	}
	status, _, _ := c.upload("photograph", "after.png", picture(t, 40, 30, png.Encode))
	if left := held(t, c.dir); status != 200 || !slices.Equal(left, []string{"after.png"}) {
		t.Errorf("status %d; it left %v", status, left)
	}
}

// A client that opens a stream and takes nothing from it is cut off, and hinders
// nobody.
func TestSlowReaderOfEvents(t *testing.T) {
	t.Parallel() // it waits most of its time
	c := serveTrestle(t)
	conn, err := net.Dial("tcp", c.at)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	fmt.Fprintf(conn, "GET /api/events HTTP/1.1\r\nHost: %s\r\n\r\n", c.at)
	one := make([]byte, 1)
	if _, err := conn.Read(one); err != nil { // it is heard
		t.Fatal(err)
	}
	// A flood of changes: more than all buffers between us hold.
	start := time.Now()
	long := strings.Repeat("x", 4000)
	for i := range 10_000 {
		c.s.desk.news.add(ChangeEvent{File: long, Version: fmt.Sprint(i)})
		if i%500 == 499 { // as many as are kept: let them be sent
			time.Sleep(20 * time.Millisecond)
		}
	}
	t.Logf("10,000 events of 4 kB noted in %v with a listener that takes none", time.Since(start))
	c.plan(PlanOrder{Piece: "trestle.yaml"})
	// One that listens hears the last of the flood, and that it missed the rest.
	events := c.listen("/api/events")
	c.s.desk.news.add(ChangeEvent{File: "last"})
	for e := next(t, events); !strings.Contains(e.data, `"last"`); e = next(t, events) {
	}
	conn.SetReadDeadline(time.Now().Add(20 * time.Second))
	time.Sleep(7 * time.Second) // its time to take an event is 5 s
	took, err := io.Copy(io.Discard, conn)
	t.Logf("%d kB were on the way to it", took>>10)
	if err != nil && strings.Contains(err.Error(), "timeout") {
		t.Error("who takes nothing is still served")
	}
}
