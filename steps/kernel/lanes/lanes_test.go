package lanes

import (
	"bytes"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// numbers are of very different sizes and both signs, so that any other order of adding shows.
func numbers(seed uint64, n int) []float32 {
	r := rand.New(rand.NewPCG(seed, 1))
	out := make([]float32, n)
	for i := range out {
		out[i] = float32((2*r.Float64() - 1) * math.Exp2(float64(r.IntN(24)-12)))
	}
	return out
}

func same(t *testing.T, what string, got, want []float32) {
	t.Helper()
	for i := range want {
		if math.Float32bits(got[i]) != math.Float32bits(want[i]) {
			t.Fatalf("%s: number %d is %v in assembly, %v in Go", what, i, got[i], want[i])
		}
	}
}

func needFast(t *testing.T) {
	if !fast {
		t.Skip("this processor runs the plain Go")
	}
}

// Assembly and Go agree to the last bit, at every length and alignment.
func TestSameBits(t *testing.T) {
	needFast(t)
	for n := 1; n < 70; n++ {
		rows := make([][]float32, 5)
		for k := range rows {
			rows[k] = numbers(uint64(100*n+k), n+2+k)[k:]
		}
		got, want := make([]float32, n), make([]float32, n)
		Spline(got, rows[0], rows[1], rows[2], rows[3], rows[4])
		spline(want, rows[0], rows[1], rows[2], rows[3], rows[4])
		same(t, "Spline", got, want)
		Slopes(got, rows[0], rows[1], rows[2], rows[3], rows[4])
		slopes(want, rows[0], rows[1], rows[2], rows[3], rows[4])
		same(t, "Slopes", got, want)
		copy(got, rows[4])
		copy(want, rows[4])
		AddPairs(got, rows[0], rows[1], rows[2], rows[3], 0.3, -1.7)
		addPairs(want, rows[0], rows[1], rows[2], rows[3], 0.3, -1.7)
		same(t, "AddPairs", got, want)
		var weights [4][Knot]float32
		for k := range weights {
			copy(weights[k][:], numbers(uint64(n+k), Knot))
		}
		nodes := numbers(uint64(n), n/Knot+4)
		half := numbers(uint64(7*n), n/2+1)
		LessDoubled(got, rows[4], half)
		lessDoubled(want, rows[4], half)
		same(t, "LessDoubled", got, want)
		copy(got, rows[4])
		copy(want, rows[4])
		Scale(got, 0.7)
		scale(want, 0.7)
		same(t, "Scale", got, want)
		Add(got, rows[1])
		add(want, rows[1])
		same(t, "Add", got, want)
		Advance(got, rows[2], 3.7)
		advance(want, rows[2], 3.7)
		same(t, "Advance", got, want)
		Between(got, nodes, &weights)
		between(want, nodes, &weights)
		same(t, "Between", got, want)
		AddProducts(got, rows[1], rows[2])
		addProducts(want, rows[1], rows[2])
		same(t, "AddProducts", got, want)
		if n < Width {
			continue
		}
		var a, b [Width]float32
		apartAVX2(&a, &rows[0][0], &rows[1][0], n&^(Width-1))
		apart(&b, rows[0][:n&^(Width-1)], rows[1])
		same(t, "Apart", a[:], b[:])
	}
}

// Samples become the same numbers in assembly and in Go, at every length and in both orders of bytes.
func TestSameSamples(t *testing.T) {
	needFast(t)
	r := rand.New(rand.NewPCG(3, 1))
	for n := 1; n < 70; n++ {
		src := make([]byte, 2*n+3)
		for i := range src {
			src[i] = byte(r.Uint64())
		}
		src = src[n%4:]
		got, want := make([]float32, n), make([]float32, n)
		Bytes8(got, src, 253)
		bytes8(want, src, 253)
		same(t, "Bytes8", got, want)
		for _, order := range [][2]uint64{{0, 8}, {8, 0}} {
			Bytes16(got, src, order[0] == 8, 4095)
			bytes16(want, src, order[0], order[1], 4095)
			same(t, "Bytes16", got, want)
		}
		dark, flat := numbers(uint64(n), n), numbers(uint64(n+1), n)
		flat[n/2] = float32(math.NaN())
		copy(got, want)
		Even(got, dark, flat, 0.05)
		even(want, dark, flat, 0.05)
		same(t, "Even", got, want)
	}
}

func TestAddByHand(t *testing.T) {
	got := []float32{1, 2, 3, 4, 5, 6, 7, 8, 9}
	Add(got, []float32{9, 8, 7, 6, 5, 4, 3, 2, 1})
	Advance(got, []float32{0, 1, 2, 3, 4, 5, 6, 7, 8}, 0.5)
	same(t, "Add and Advance", got, []float32{10.5, 11.5, 12.5, 13.5, 14.5, 15.5, 16.5, 17.5, 18.5})
}

func TestSamplesByHand(t *testing.T) {
	got := make([]float32, 9)
	Bytes8(got, []byte{0, 1, 2, 3, 4, 5, 6, 7, 255}, 2)
	same(t, "Bytes8", got, []float32{0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5, 127.5})
	src := []byte{0x01, 0x02, 0xff, 0x00}
	Bytes16(got[:2], src, false, 1)
	same(t, "Bytes16", got[:2], []float32{0x201, 0xff})
	Bytes16(got[:2], src, true, 1)
	same(t, "Bytes16, big", got[:2], []float32{0x102, 0xff00})
	p := []float32{3, 5}
	Even(p, []float32{1, 1}, []float32{4, 0.1}, 0.5)
	same(t, "Even", p, []float32{0.5, 8})
}

func TestApartAddsUp(t *testing.T) {
	for n := range 40 {
		a, b := make([]float32, n), make([]float32, n)
		for i := range a {
			a[i], b[i] = float32(i), float32(2*i+1) // i+1 apart
		}
		if got := Apart(a, b); got != float64(n*(n+1)/2) {
			t.Errorf("%d numbers: %v, want %d", n, got, n*(n+1)/2)
		}
	}
}

// What is committed is what the generator writes.
func TestAssemblyIsGenerated(t *testing.T) {
	if testing.Short() {
		t.Skip("compiles the generator")
	}
	dir := t.TempDir()
	s, stubs := filepath.Join(dir, "lanes_amd64.s"), filepath.Join(dir, "stubs_amd64.go")
	cmd := exec.Command("go", "run", "./gen", "-out", s, "-stubs", stubs, "-pkg", "lanes")
	cmd.Env = append(os.Environ(), "GOARCH=", "GOOS=")
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("run the generator: %v\n%s", err, out)
	}
	for _, made := range []string{s, stubs} {
		got, err := os.ReadFile(made)
		if err != nil {
			t.Fatal(err)
		}
		want, err := os.ReadFile(filepath.Base(made))
		if err != nil {
			t.Fatal(err)
		}
		// The first line tells the command with its paths.
		_, got, _ = bytes.Cut(got, []byte("\n"))
		_, want, _ = bytes.Cut(want, []byte("\n"))
		if !bytes.Equal(got, want) {
			t.Errorf("%s is not what gen writes: run go generate in steps/kernel/lanes", filepath.Base(made))
		}
	}
}

func TestCellSameBits(t *testing.T) {
	needFast(t)
	for seed := range uint64(50) {
		const stride, width = 23, 19
		pix, gx := numbers(seed, 11*stride), numbers(seed+100, 8*width)
		gy, p := numbers(seed+200, 8*width), numbers(seed+300, 8*width)
		k := numbers(seed+400, 8)
		kx, ky := (*[4]float32)(k[:4]), (*[4]float32)(k[4:])
		var got, want Sums
		Cell(&got, pix[3:], stride, kx, ky, gx[2:], gy[1:], p[5:], width)
		cell(&want, pix[3:], stride, kx, ky, gx[2:], gy[1:], p[5:], width, nil)
		for s := range got {
			same(t, "Cell", got[s][:], want[s][:])
		}
		var m Mask
		for i := range m {
			m[i] = float32((uint64(i)*7 + seed) % 3 % 2)
		}
		CellWithin(&got, pix[3:], stride, kx, ky, gx[2:], gy[1:], p[5:], width, &m)
		cell(&want, pix[3:], stride, kx, ky, gx[2:], gy[1:], p[5:], width, &m)
		for s := range got {
			same(t, "CellWithin", got[s][:], want[s][:])
		}
		var own, ownWant Own
		Products(&own, gx[2:], gy[1:], p[5:], width, &m)
		products(&ownWant, gx[2:], gy[1:], p[5:], width, &m)
		for s := range own {
			same(t, "Products", own[s][:], ownWant[s][:])
		}
	}
}

// A row that rises evenly stays even when doubled, so that nothing is left of the same at twice the length.
func TestLessDoubledOfSlope(t *testing.T) {
	half, src := make([]float32, 40), make([]float32, 78)
	for i := range half {
		half[i] = float32(2*i) + 0.5
	}
	for i := range src {
		src[i] = float32(i + 1) // pixel i of the doubled row, from a quarter behind the first middle on
	}
	got := make([]float32, 78)
	LessDoubled(got, src, half)
	for i, v := range got {
		if v != 0 {
			t.Fatalf("%v is left at %d", v, i)
		}
	}
}

// By hand: a picture that rises by 2 along and 3 down, taken half a pixel on with taps that halve two neighbours.
func TestCellOfSlope(t *testing.T) {
	const n = 11
	pix, ones := make([]float32, n*n), make([]float32, 64)
	for y := range n {
		for x := range n {
			pix[y*n+x] = float32(2*x + 3*y)
		}
	}
	for i := range ones {
		ones[i] = 1
	}
	half := [4]float32{0, 0.5, 0.5, 0}
	var s Sums
	Cell(&s, pix, n, &half, &half, ones, ones, ones, Width)
	// The mean of 2(x+1.5) + 3(y+1.5) over 0…7 is 2·5 + 3·5.
	if got := s.Of(SlopeX); got != 64*25 {
		t.Errorf("the sum is %v, want 1600", got)
	}
	m := Mask{9: 1, 12: 1} // (1, 1) and (4, 1): 2·2.5 + 3·2.5 and 2·5.5 + 3·2.5
	CellWithin(&s, pix, n, &half, &half, ones, ones, ones, Width, &m)
	if got := s.Of(SlopeX); got != 12.5+18.5 {
		t.Errorf("the sum of two pixels is %v, want 31", got)
	}
	var own Own
	Products(&own, pix, ones, pix, Width, &m) // of numbers 9 and 12
	a, b := float64(pix[9]), float64(pix[12])
	for k, want := range [7]float64{a*a + b*b, a + b, 2, a*a + b*b, a + b, a*a + b*b, 2} {
		if got := own.Of(k); got != want {
			t.Errorf("sum %d of products is %v, want %v", k, got, want)
		}
	}
	Cell(&s, pix, n, &half, &half, ones, ones, ones, Width)
	if s.Of(SlopeY) != 1600 || s.Of(Likely) != 1600 {
		t.Errorf("sums with ones differ: %v, %v", s.Of(SlopeY), s.Of(Likely))
	}
	// Variances of 2x and 3y over 0…7: 4·5.25 and 9·5.25.
	if got := s.Of(Square); got != 64*(625+13*5.25) {
		t.Errorf("the sum of squares is %v, want %v", got, 64*(625+13*5.25))
	}
}

// A plane that rises by 1 a pixel along (smoothing does not change it) has the squared gradient (8/8)² of the
// operator's gain along, and (6+2)/8 down.
func TestSlopesOfPlane(t *testing.T) {
	const n = 20
	rows, down := make([][]float32, 5), make([][]float32, 5)
	for k := range rows {
		rows[k], down[k] = make([]float32, n+2), make([]float32, n+2)
		for x := range rows[k] {
			rows[k][x], down[k][x] = float32(x), float32(k)
		}
	}
	dst := make([]float32, n)
	Slopes(dst, rows[0], rows[1], rows[2], rows[3], rows[4])
	for i, v := range dst {
		if v != 1 {
			t.Fatalf("along, %d: %v", i, v)
		}
	}
	Slopes(dst, down[0], down[1], down[2], down[3], down[4])
	for i, v := range dst {
		if v != 1 {
			t.Fatalf("down, %d: %v", i, v)
		}
	}
}
