package lanes

// Three are weights of three neighbours in a row, and last their sum.
type Three [4]float32

// GatherThree writes dst[i], three rows of three pixels from places[i] on, weighted by the taps down, added up in order, then
// by the taps along, as (0+1)+2; and weight[i], the product of both taps' sums. Three rows of four pixels are read from
// each place, of which the fourth counts nothing, whatever it is.
func GatherThree(dst, weight, pix []float32, stride int, places []Place, taps []Three) {
	if len(dst) == 0 {
		return
	}
	places, weight = places[:len(dst)], weight[:len(dst)]
	for _, p := range places {
		_ = pix[int(p.At)+2*stride+3]
		_, _ = &taps[p.X], &taps[p.Y]
		if p.At < 0 {
			panic("lanes: a place before the picture")
		}
	}
	if fast {
		gatherThreeAVX2(&dst[0], &weight[0], &pix[0], stride, &places[0].At, &taps[0][0], len(dst))
		return
	}
	gatherThree(dst, weight, pix, stride, places, taps)
}

func gatherThree(dst, weight, pix []float32, stride int, places []Place, taps []Three) {
	for i, p := range places {
		kx, ky := &taps[p.X], &taps[p.Y]
		var v [3]float32
		for j := range v {
			row := pix[int(p.At)+j*stride:][:3]
			for m := range v {
				if j == 0 {
					v[m] = ky[0] * row[m]
				} else {
					v[m] += float32(ky[j] * row[m])
				}
			}
		}
		for m := range v {
			v[m] *= kx[m]
		}
		dst[i], weight[i] = (v[0]+v[1])+v[2], ky[3]*kx[3]
	}
}
