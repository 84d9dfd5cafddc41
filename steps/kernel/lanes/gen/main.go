// Command gen writes the assembly of package lanes: the same products and sums as its plain Go, in the same order.
package main

import (
	"math"

	. "github.com/mmcloughlin/avo/build"
	. "github.com/mmcloughlin/avo/operand"
	"github.com/mmcloughlin/avo/reg"
)

func main() {
	ConstraintExpr("amd64")
	spline()
	between()
	cell("cellAVX2", false)
	cell("cellWithinAVX2", true)
	products()
	gather()
	gatherThree()
	locate()
	scale()
	add()
	advance()
	lessDoubled()
	addProducts()
	slopes()
	apart()
	addPairs()
	bytes8()
	bytes16()
	even()
	Generate()
}

// constant returns a register that holds v in every lane. It goes by its bits: the assembler takes a whole number's text for one.
func constant(name string, v float32) reg.VecVirtual {
	y := YMM()
	VBROADCASTSS(ConstData(name, U32(math.Float32bits(v))), y)
	return y
}

// param loads a pointer or an integer.
func param(name string) reg.Register { return Load(Param(name), GP64()) }

// over runs body for every eight of n numbers, i the offset in bytes, and ends the function.
func over(body func(i reg.Register), last ...func()) {
	n := Load(Param("n"), GP64())
	SHLQ(Imm(2), n)
	i := GP64()
	XORQ(i, i)
	Label("loop")
	body(i)
	ADDQ(Imm(32), i)
	CMPQ(i, n)
	JLT(LabelRef("loop"))
	for _, f := range last {
		f()
	}
	VZEROUPPER()
	RET()
}

func spline() {
	TEXT("splineAVX2", NOSPLIT, "func(dst, a, b, c, d, e *float32, n int)")
	Pragma("noescape")
	dst, a, b, c, d, e := param("dst"), param("a"), param("b"), param("c"), param("d"), param("e")
	k16, k4, k38 := constant("sixteenth", 0.0625), constant("quarter", 0.25), constant("centre", 0.375)
	over(func(i reg.Register) {
		at := func(r reg.Register) Mem { return Mem{Base: r, Index: i, Scale: 1} }
		s, t, u := YMM(), YMM(), YMM()
		VMOVUPS(at(a), s)
		VADDPS(at(e), s, s)
		VMULPS(k16, s, s)
		VMOVUPS(at(b), t)
		VADDPS(at(d), t, t)
		VMULPS(k4, t, t)
		VADDPS(t, s, s)
		VMULPS(at(c), k38, u)
		VADDPS(u, s, s)
		VMOVUPS(s, at(dst))
	})
}

// between keeps the weights of sixteen places in eight registers.
func between() {
	TEXT("betweenAVX2", NOSPLIT, "func(dst, nodes *float32, weights *[4][16]float32, n int)")
	Pragma("noescape")
	dst, nodes, weights, n := param("dst"), param("nodes"), param("weights"), param("n")
	var w [2][4]Op
	for part := range w {
		for k := range w[part] {
			y := YMM()
			VMOVUPS(Mem{Base: weights, Disp: 64*k + 32*part}, y)
			w[part][k] = y
		}
	}
	var v [4]reg.VecVirtual
	for k := range v {
		v[k] = YMM()
	}
	out, t, u := YMM(), YMM(), YMM()
	Label("loop")
	for k := range v {
		VBROADCASTSS(Mem{Base: nodes, Disp: 4 * k}, v[k])
	}
	for part := range w {
		four(out, w[part], v, t, u)
		VMOVUPS(out, Mem{Base: dst, Disp: 32 * part})
	}
	ADDQ(Imm(4), nodes)
	ADDQ(Imm(64), dst)
	DECQ(n)
	JNZ(LabelRef("loop"))
	VZEROUPPER()
	RET()
}

// four writes into out (k0·v0 + k1·v1) + (k2·v2 + k3·v3).
func four(out reg.VecVirtual, k [4]Op, v [4]reg.VecVirtual, t, u reg.VecVirtual) {
	VMULPS(k[0], v[0], out)
	VMULPS(k[1], v[1], t)
	VADDPS(t, out, out)
	VMULPS(k[2], v[2], t)
	VMULPS(k[3], v[3], u)
	VADDPS(u, t, t)
	VADDPS(t, out, out)
}

func scale() {
	TEXT("scaleAVX2", NOSPLIT, "func(p *float32, k float32, n int)")
	Pragma("noescape")
	p, k := param("p"), broadcast("k")
	over(func(i reg.Register) {
		at := Mem{Base: p, Index: i, Scale: 1}
		v := YMM()
		VMULPS(at, k, v)
		VMOVUPS(v, at)
	})
}

func add() {
	TEXT("addAVX2", NOSPLIT, "func(dst, a *float32, n int)")
	Pragma("noescape")
	dst, a := param("dst"), param("a")
	over(func(i reg.Register) {
		v := YMM()
		VMOVUPS(Mem{Base: dst, Index: i, Scale: 1}, v)
		VADDPS(Mem{Base: a, Index: i, Scale: 1}, v, v)
		VMOVUPS(v, Mem{Base: dst, Index: i, Scale: 1})
	})
}

func advance() {
	TEXT("advanceAVX2", NOSPLIT, "func(dst, along *float32, k float32, n int)")
	Pragma("noescape")
	dst, along, k := param("dst"), param("along"), broadcast("k")
	over(func(i reg.Register) {
		v := YMM()
		VADDPS(Mem{Base: along, Index: i, Scale: 1}, k, v)
		VADDPS(Mem{Base: dst, Index: i, Scale: 1}, v, v)
		VMOVUPS(v, Mem{Base: dst, Index: i, Scale: 1})
	})
}

// lessDoubled takes sixteen numbers off at a time.
func lessDoubled() {
	TEXT("lessDoubledAVX2", NOSPLIT, "func(dst, src, half *float32, n int)")
	Pragma("noescape")
	dst, src, half := param("dst"), param("src"), param("half")
	near, far := constant("near", 0.75), constant("far", 0.25)
	over(func(i reg.Register) {
		p, q, a, b, t := YMM(), YMM(), YMM(), YMM(), YMM()
		VMOVUPS(Mem{Base: half, Index: i, Scale: 1}, p)
		VMOVUPS(Mem{Base: half, Index: i, Scale: 1, Disp: 4}, q)
		VMULPS(near, p, a)
		VMULPS(far, q, t)
		VADDPS(t, a, a)
		VMULPS(far, p, b)
		VMULPS(near, q, t)
		VADDPS(t, b, b)
		lo, hi := YMM(), YMM()
		VUNPCKLPS(b, a, lo) // a0 b0 a1 b1, a4 b4 a5 b5
		VUNPCKHPS(b, a, hi) // a2 b2 a3 b3, a6 b6 a7 b7
		VPERM2F128(Imm(0x20), hi, lo, p)
		VPERM2F128(Imm(0x31), hi, lo, q)
		for k, v := range []reg.VecVirtual{p, q} {
			VMOVUPS(Mem{Base: src, Index: i, Scale: 2, Disp: 32 * k}, t)
			VSUBPS(v, t, t)
			VMOVUPS(t, Mem{Base: dst, Index: i, Scale: 2, Disp: 32 * k})
		}
	})
}

func addProducts() {
	TEXT("addProductsAVX2", NOSPLIT, "func(dst, a, b *float32, n int)")
	Pragma("noescape")
	dst, a, b := param("dst"), param("a"), param("b")
	over(func(i reg.Register) {
		at := func(r reg.Register) Mem { return Mem{Base: r, Index: i, Scale: 1} }
		t := YMM()
		VMOVUPS(at(a), t)
		VMULPS(at(b), t, t)
		VADDPS(at(dst), t, t)
		VMOVUPS(t, at(dst))
	})
}

func slopes() {
	TEXT("slopesAVX2", NOSPLIT, "func(dst, r0, r1, r2, r3, r4 *float32, n int)")
	Pragma("noescape")
	dst, r0, r1, r2, r3, r4 := param("dst"), param("r0"), param("r1"), param("r2"), param("r3"), param("r4")
	eighth := constant("eighth", 0.125)
	over(func(i reg.Register) {
		at := func(r reg.Register, k int) Mem { return Mem{Base: r, Index: i, Scale: 1, Disp: 4 * k} }
		gx, gy, l, t := YMM(), YMM(), YMM(), YMM()
		VMOVUPS(at(r3, 1), t)
		VSUBPS(at(r1, 1), t, t)
		VADDPS(t, t, t)
		VMOVUPS(at(r4, 1), gy)
		VSUBPS(at(r0, 1), gy, gy)
		VADDPS(t, gy, gy)
		VMULPS(eighth, gy, gy)
		side := func(dst reg.VecVirtual, k int) {
			VMOVUPS(at(r1, k), dst)
			VADDPS(at(r3, k), dst, dst)
			VMOVUPS(at(r2, k), t)
			VADDPS(t, t, t)
			VADDPS(t, dst, dst)
		}
		side(l, 0)
		side(gx, 2)
		VSUBPS(l, gx, gx)
		VMULPS(eighth, gx, gx)
		VMULPS(gx, gx, gx)
		VMULPS(gy, gy, gy)
		VADDPS(gy, gx, gx)
		VMOVUPS(gx, at(dst, 0))
	})
}

func apart() {
	TEXT("apartAVX2", NOSPLIT, "func(out *[8]float32, a, b *float32, n int)")
	Pragma("noescape")
	out, a, b := param("out"), param("a"), param("b")
	sign := YMM()
	VPCMPEQD(sign, sign, sign)
	VPSRLD(Imm(1), sign, sign) // all bits but the sign's
	sum := YMM()
	VXORPS(sum, sum, sum)
	over(func(i reg.Register) {
		t := YMM()
		VMOVUPS(Mem{Base: a, Index: i, Scale: 1}, t)
		VSUBPS(Mem{Base: b, Index: i, Scale: 1}, t, t)
		VANDPS(sign, t, t)
		VADDPS(t, sum, sum)
	}, func() {
		VMOVUPS(sum, Mem{Base: out})
	})
}

// broadcast returns a register that holds a parameter in every lane.
func broadcast(name string) reg.VecVirtual {
	x, y := XMM(), YMM()
	Load(Param(name), x)
	VBROADCASTSS(x, y)
	return y
}

// samples runs eight samples at a time through load, which leaves them as whole numbers, and divides them by white.
func samples(load func(src reg.Register, v reg.VecVirtual), bytes int) {
	dst, src, white := param("dst"), param("src"), broadcast("white")
	over(func(i reg.Register) {
		v := YMM()
		load(src, v)
		VCVTDQ2PS(v, v)
		VDIVPS(white, v, v)
		VMOVUPS(v, Mem{Base: dst, Index: i, Scale: 1})
		ADDQ(Imm(uint64(8*bytes)), src)
	})
}

func bytes8() {
	TEXT("bytes8AVX2", NOSPLIT, "func(dst *float32, src *byte, white float32, n int)")
	Pragma("noescape")
	samples(func(src reg.Register, v reg.VecVirtual) { VPMOVZXBD(Mem{Base: src}, v) }, 1)
}

// bytes16 takes the two bytes of a sample apart, so that either order is as quick as the other: shift counts say where
// each goes.
func bytes16() {
	TEXT("bytes16AVX2", NOSPLIT, "func(dst *float32, src *byte, first, second uint64, white float32, n int)")
	Pragma("noescape")
	first, second := XMM(), XMM()
	Load(Param("first"), first)
	Load(Param("second"), second)
	low := YMM()
	VPCMPEQD(low, low, low)
	VPSRLD(Imm(24), low, low)
	samples(func(src reg.Register, v reg.VecVirtual) {
		a := YMM()
		VPMOVZXWD(Mem{Base: src}, v)
		VPAND(low, v, a)
		VPSRLD(Imm(8), v, v)
		VPSLLD(first, a, a)
		VPSLLD(second, v, v)
		VPOR(a, v, v)
	}, 2)
}

func even() {
	TEXT("evenAVX2", NOSPLIT, "func(p, dark, flat *float32, least float32, n int)")
	Pragma("noescape")
	p, dark, flat, least := param("p"), param("dark"), param("flat"), broadcast("least")
	over(func(i reg.Register) {
		at := func(r reg.Register) Mem { return Mem{Base: r, Index: i, Scale: 1} }
		v, f := YMM(), YMM()
		VMOVUPS(at(p), v)
		VSUBPS(at(dark), v, v)
		VMAXPS(at(flat), least, f) // what is not a number stays so
		VDIVPS(f, v, v)
		VMOVUPS(v, at(p))
	})
}

func addPairs() {
	TEXT("addPairsAVX2", NOSPLIT, "func(out, a, b, c, d *float32, s, t float32, n int)")
	Pragma("noescape")
	out, a, b, c, d := param("out"), param("a"), param("b"), param("c"), param("d")
	s, t := broadcast("s"), broadcast("t")
	over(func(i reg.Register) {
		at := func(r reg.Register) Mem { return Mem{Base: r, Index: i, Scale: 1} }
		u, v := YMM(), YMM()
		VMOVUPS(at(a), u)
		VADDPS(at(b), u, u)
		VMULPS(s, u, u)
		VMOVUPS(at(c), v)
		VADDPS(at(d), v, v)
		VMULPS(t, v, v)
		VADDPS(v, u, u)
		VADDPS(at(out), u, u)
		VMOVUPS(u, at(out))
	})
}
