package main

import (
	. "github.com/mmcloughlin/avo/build"
	. "github.com/mmcloughlin/avo/operand"
	"github.com/mmcloughlin/avo/reg"
)

// locate keeps a lattice's numbers in registers, each in every lane.
func locate() {
	TEXT("locateAVX2", NOSPLIT, "func(at, px, py *int32, x, y *float32, dx, dy float32, lattice *int32, n int)")
	Pragma("noescape")
	at, px, py, x, y, g := param("at"), param("px"), param("py"), param("x"), param("y"), param("lattice")
	dx, dy := broadcast("dx"), broadcast("dy")
	phases, half := constant("phases", 256), constant("half", 0.5)
	field := func(k int) reg.VecVirtual {
		v := YMM()
		VPBROADCASTD(Mem{Base: g, Disp: 4 * k}, v)
		return v
	}
	stride, before, addX, addY := field(0), field(1), field(3), field(4)
	bits := XMM()
	VMOVD(Mem{Base: g, Disp: 8}, bits)
	over(func(i reg.Register) {
		to := func(r reg.Register) Mem { return Mem{Base: r, Index: i, Scale: 1} }
		// whole returns the sample less the taps before it, and stores the phase.
		whole := func(src, dst reg.Register, d, add reg.VecVirtual) reg.VecVirtual {
			v, w := YMM(), YMM()
			VADDPS(to(src), d, v)
			VMULPS(phases, v, v)
			VADDPS(half, v, v)
			VCVTTPS2DQ(v, v)
			VPADDD(add, v, v)
			VPSRAD(bits, v, w)
			t := YMM()
			VPSLLD(bits, w, t)
			VPSUBD(t, v, v)
			VMOVDQU(v, to(dst))
			VPSUBD(before, w, w)
			return w
		}
		col, row := whole(x, px, dx, addX), whole(y, py, dy, addY)
		VPMULLD(stride, row, row)
		VPADDD(col, row, row)
		VMOVDQU(row, to(at))
	})
}

func gather() {
	TEXT("gatherAVX2", NOSPLIT, "func(dst, pix *float32, stride int, places, along, down *int32, taps *[8]float32, n int)")
	Pragma("noescape")
	dst, pix, stride, taps, n := param("dst"), param("pix"), param("stride"), param("taps"), param("n")
	places, along, down := param("places"), param("along"), param("down")
	SHLQ(Imm(2), stride)
	at, kx, ky := GP64(), GP64(), GP64()
	sum, t := YMM(), YMM()
	half, q := XMM(), XMM()
	Label("next")
	MOVLQSX(Mem{Base: places}, at)
	MOVLQSX(Mem{Base: along}, kx)
	MOVLQSX(Mem{Base: down}, ky)
	ADDQ(Imm(4), places)
	ADDQ(Imm(4), along)
	ADDQ(Imm(4), down)
	LEAQ(Mem{Base: pix, Index: at, Scale: 4}, at)
	SHLQ(Imm(5), kx)
	SHLQ(Imm(5), ky)
	ADDQ(taps, kx)
	ADDQ(taps, ky)
	for j := range 6 {
		if j == 0 {
			VBROADCASTSS(Mem{Base: ky}, sum)
			VMULPS(Mem{Base: at}, sum, sum)
			continue
		}
		ADDQ(stride, at)
		VBROADCASTSS(Mem{Base: ky, Disp: 4 * j}, t)
		VMULPS(Mem{Base: at}, t, t)
		VADDPS(t, sum, sum)
	}
	VMULPS(Mem{Base: kx}, sum, sum)
	VEXTRACTF128(Imm(1), sum, half)
	VADDPS(half, sum.AsX(), half) // 0+4 1+5 2+6 3+7
	VMOVHLPS(half, half, q)
	VADDPS(q, half, half) // (0+4)+(2+6), (1+5)+(3+7)
	VMOVSHDUP(half, q)
	VADDSS(q, half, half)
	VMOVSS(half, Mem{Base: dst})
	ADDQ(Imm(4), dst)
	DECQ(n)
	JNZ(LabelRef("next"))
	VZEROUPPER()
	RET()
}

func gatherThree() {
	TEXT("gatherThreeAVX2", NOSPLIT, "func(value, weight, right, down, pix *float32, stride int, places, x, y *int32, taps *float32, n int)")
	Pragma("noescape")
	value, weight, right, down := param("value"), param("weight"), param("right"), param("down")
	pix, stride, taps := param("pix"), param("stride"), param("taps")
	places, px, py := param("places"), param("x"), param("y")
	SHLQ(Imm(2), stride)
	at, kx, ky, i := GP64(), GP64(), GP64(), GP64()
	sum, t, dn := XMM(), XMM(), XMM()
	to := func(r reg.Register) Mem { return Mem{Base: r, Index: i, Scale: 4} }
	along := func(k int) Mem { return Mem{Base: taps, Index: kx, Scale: 8, Disp: 4 * k} }
	across := func(k int) Mem { return Mem{Base: taps, Index: ky, Scale: 8, Disp: 4 * k} }
	XORQ(i, i)
	Label("next")
	MOVLQSX(to(places), at)
	MOVLQSX(to(px), kx)
	MOVLQSX(to(py), ky)
	LEAQ(Mem{Base: pix, Index: at, Scale: 4}, at)
	SHLQ(Imm(2), kx)
	SHLQ(Imm(2), ky)
	VMOVUPS(across(0), dn)
	VSHUFPS(Imm(0), dn, dn, sum)
	VMULPS(Mem{Base: at}, sum, sum)
	VSHUFPS(Imm(0x55), dn, dn, t)
	VMULPS(Mem{Base: at, Index: stride, Scale: 1}, t, t)
	VADDPS(t, sum, sum)
	VSHUFPS(Imm(0xaa), dn, dn, t)
	VMULPS(Mem{Base: at, Index: stride, Scale: 2}, t, t)
	VADDPS(t, sum, sum)
	VBLENDPS(Imm(8), dn, sum, sum) // the fourth is the sum of the taps
	VMULPS(along(0), sum, sum)
	VEXTRACTPS(Imm(3), sum, to(weight))
	VMOVSHDUP(sum, t)
	VADDSS(t, sum, t) // 0+1
	VMOVHLPS(sum, sum, sum)
	VADDSS(sum, t, t)
	VMOVSS(t, to(value))
	VMOVSS(along(4), t)
	VMULSS(across(3), t, t)
	VMOVSS(t, to(right))
	VMOVSS(across(4), t)
	VMULSS(along(3), t, t)
	VMOVSS(t, to(down))
	INCQ(i)
	CMPQ(i, NewParamAddr("n", 80))
	JLT(LabelRef("next"))
	RET()
}
