package filter

// Sobel writes the horizontal and vertical responses of the 3×3 operator
// [-1 0 1; -2 0 2; -1 0 1] and its transpose (8 times the slope of a plane per
// pixel). gx, gy must not be src.
func Sobel(gx, gy, src []float32, w, h int) {
	sameSize(gx, src, w, h)
	sameSize(gy, src, w, h)
	for y := range h {
		a, b, c := src[reflect(y-1, h)*w:][:w], src[y*w:][:w], src[reflect(y+1, h)*w:][:w]
		ox, oy := gx[y*w:][:w], gy[y*w:][:w]
		for x := range ox {
			l, r := reflect(x-1, w), reflect(x+1, w)
			ox[x] = (a[r] - a[l]) + 2*(b[r]-b[l]) + (c[r] - c[l])
			oy[x] = (c[l] - a[l]) + 2*(c[x]-a[x]) + (c[r] - a[r])
		}
	}
}

// Laplacian writes the sum of the four neighbours less four times the pixel.
// dst must not be src.
func Laplacian(dst, src []float32, w, h int) {
	sameSize(dst, src, w, h)
	for y := range h {
		a, b, c := src[reflect(y-1, h)*w:][:w], src[y*w:][:w], src[reflect(y+1, h)*w:][:w]
		o := dst[y*w:][:w]
		for x := range o {
			o[x] = (a[x] + c[x]) + (b[reflect(x-1, w)] + b[reflect(x+1, w)]) - float32(4*b[x])
		}
	}
}
