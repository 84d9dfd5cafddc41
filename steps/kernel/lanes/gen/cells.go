package main

import (
	. "github.com/mmcloughlin/avo/build"
	. "github.com/mmcloughlin/avo/operand"
	"github.com/mmcloughlin/avo/reg"
)

// cell is for all pixels of a cell, or for those that a mask lets count.
func cell(name string, masked bool) {
	args := "out *[4][8]float32, pix *float32, stride int, kx, ky *[4]float32, gx, gy, p *float32, width int"
	if masked {
		args += ", mask *[64]float32"
	}
	TEXT(name, NOSPLIT, "func("+args+")")
	Pragma("noescape")
	pix, stride, kx, ky := param("pix"), param("stride"), param("kx"), param("ky")
	gx, gy, p, width := param("gx"), param("gy"), param("p"), param("width")
	var mask reg.Register
	if masked {
		mask = param("mask")
	}
	SHLQ(Imm(2), stride)
	SHLQ(Imm(2), width)
	var down [4]Op
	for k := range down {
		y := YMM()
		VBROADCASTSS(Mem{Base: ky, Disp: 4 * k}, y)
		down[k] = y
	}
	var sums, ring [4]reg.VecVirtual
	for k := range sums {
		sums[k], ring[k] = YMM(), YMM()
		VXORPS(sums[k], sums[k], sums[k])
	}
	t, u, v := YMM(), YMM(), YMM()
	for y := range 11 {
		r := ring[y&3]
		alongRow(r, pix, kx, t, u)
		ADDQ(stride, pix)
		if y < 3 {
			continue
		}
		four(v, down, [4]reg.VecVirtual{ring[(y-3)&3], ring[(y-2)&3], ring[(y-1)&3], r}, t, u)
		if masked {
			VMULPS(Mem{Base: mask, Disp: 32 * (y - 3)}, v, v)
		}
		for k, g := range []reg.Register{gx, gy, nil, p} {
			if g == nil {
				VMULPS(v, v, t)
			} else {
				VMULPS(Mem{Base: g}, v, t)
				ADDQ(width, g)
			}
			VADDPS(t, sums[k], sums[k])
		}
	}
	out := param("out")
	for k := range sums {
		VMOVUPS(sums[k], Mem{Base: out, Disp: 32 * k})
	}
	VZEROUPPER()
	RET()
}

// alongRow writes (k0·q0 + k1·q1) + (k2·q2 + k3·q3) into r, with the taps at kx and the row's pixels at pix.
func alongRow(r reg.VecVirtual, pix, kx reg.Register, t, u reg.VecVirtual) {
	tap := func(k int, dst reg.VecVirtual) {
		VBROADCASTSS(Mem{Base: kx, Disp: 4 * k}, dst)
		VMULPS(Mem{Base: pix, Disp: 4 * k}, dst, dst)
	}
	tap(0, r)
	tap(1, t)
	VADDPS(t, r, r)
	tap(2, t)
	tap(3, u)
	VADDPS(u, t, t)
	VADDPS(t, r, r)
}

func products() {
	TEXT("productsAVX2", NOSPLIT, "func(out *[7][8]float32, gx, gy, p *float32, width int, mask *[64]float32)")
	Pragma("noescape")
	gx, gy, p, width, mask := param("gx"), param("gy"), param("p"), param("width"), param("mask")
	SHLQ(Imm(2), width)
	var sums [7]reg.VecVirtual
	for k := range sums {
		sums[k] = YMM()
		VXORPS(sums[k], sums[k], sums[k])
	}
	a, b, c, m, t := YMM(), YMM(), YMM(), YMM(), YMM()
	for y := range 8 {
		VMOVUPS(Mem{Base: mask, Disp: 32 * y}, m)
		VMULPS(Mem{Base: gx}, m, a)
		VMULPS(Mem{Base: gy}, m, b)
		VMULPS(Mem{Base: p}, m, c)
		for k, v := range []struct {
			with reg.Register
			of   reg.VecVirtual
		}{{gx, a}, {gy, a}, {gy, b}, {p, a}, {p, b}, {p, c}} {
			VMULPS(Mem{Base: v.with}, v.of, t)
			VADDPS(t, sums[k], sums[k])
		}
		VADDPS(m, sums[6], sums[6])
		for _, r := range []reg.Register{gx, gy, p} {
			ADDQ(width, r)
		}
	}
	out := param("out")
	for k := range sums {
		VMOVUPS(sums[k], Mem{Base: out, Disp: 32 * k})
	}
	VZEROUPPER()
	RET()
}
