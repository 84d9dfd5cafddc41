//go:build !amd64

package lanes

const fast = false

func splineAVX2(dst, a, b, c, d, e *float32, n int) { panic("lanes: no such assembly here") }

func betweenAVX2(dst, nodes *float32, weights *[4][Knot]float32, n int) {
	panic("lanes: no such assembly here")
}

func cellAVX2(out *[4][Width]float32, pix *float32, stride int, kx, ky *[4]float32, gx, gy, p *float32, width int) {
	panic("lanes: no such assembly here")
}

func cellWithinAVX2(out *[4][Width]float32, pix *float32, stride int, kx, ky *[4]float32, gx, gy, p *float32, width int, mask *[Width * Width]float32) {
	panic("lanes: no such assembly here")
}

func productsAVX2(out *[7][Width]float32, gx, gy, p *float32, width int, mask *[Width * Width]float32) {
	panic("lanes: no such assembly here")
}

func gatherAVX2(dst, pix *float32, stride int, places, along, down *int32, taps *[Width]float32, n int) {
	panic("lanes: no such assembly here")
}

func gatherThreeAVX2(value, weight, right, down, pix *float32, stride int, places, x, y *int32, taps *float32, n int) {
	panic("lanes: no such assembly here")
}

func addProductsAVX2(dst, a, b *float32, n int) { panic("lanes: no such assembly here") }

func locateAVX2(at, px, py *int32, x, y *float32, dx, dy float32, lattice *int32, n int) {
	panic("lanes: no such assembly here")
}

func scaleAVX2(p *float32, k float32, n int) { panic("lanes: no such assembly here") }

func addAVX2(dst, a *float32, n int) { panic("lanes: no such assembly here") }

func advanceAVX2(dst, along *float32, k float32, n int) { panic("lanes: no such assembly here") }

func lessDoubledAVX2(dst, src, half *float32, n int) { panic("lanes: no such assembly here") }

func slopesAVX2(dst, r0, r1, r2, r3, r4 *float32, n int) { panic("lanes: no such assembly here") }

func apartAVX2(out *[Width]float32, a, b *float32, n int) { panic("lanes: no such assembly here") }

func addPairsAVX2(out, a, b, c, d *float32, s, t float32, n int) {
	panic("lanes: no such assembly here")
}

func bytes8AVX2(dst *float32, src *byte, white float32, n int) {
	panic("lanes: no such assembly here")
}

func bytes16AVX2(dst *float32, src *byte, first, second uint64, white float32, n int) {
	panic("lanes: no such assembly here")
}

func evenAVX2(p, dark, flat *float32, least float32, n int) { panic("lanes: no such assembly here") }
