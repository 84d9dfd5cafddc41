package stacks

import (
	"math"
	"testing"
)

// The track must be the shift and the mean of the bend, weighted by the ground's slopes, but for what all frames have in
// common.
func TestTrackIsShiftAndMeanBend(t *testing.T) {
	const n = 20
	r, _ := stackOf(t, 2, n, 0.003, 1, false)
	var got trackTable
	r.Table("track", &got)
	if len(got.Frames) != n {
		t.Fatalf("%d frames are tracked, want %d", len(got.Frames), n)
	}
	_, _, tab := film(n, 0)
	shift := tab["shift"].([][2]float64)
	var off [n][2]float64
	var mean [2]float64
	for k, i := range got.Frames {
		var w, sx, sy float64
		for y := 8.0; y < sceneH-8; y += 2 {
			for x := 8.0; x < sceneW-8; x += 2 {
				gx, gy := ground(x+0.5, y)-ground(x-0.5, y), ground(x, y+0.5)-ground(x, y-0.5)
				dx, dy := bend(i, n, x+shift[i][0], y+shift[i][1])
				e := gx*gx + gy*gy
				w, sx, sy = w+e, sx+e*dx, sy+e*dy
			}
		}
		off[k] = [2]float64{got.Shift[k][0] - shift[i][0] - sx/w, got.Shift[k][1] - shift[i][1] - sy/w}
		mean[0], mean[1] = mean[0]+off[k][0]/n, mean[1]+off[k][1]/n
	}
	var rms float64
	for _, o := range off {
		rms += ((o[0]-mean[0])*(o[0]-mean[0]) + (o[1]-mean[1])*(o[1]-mean[1])) / n
	}
	// Bends alone are 0.2 px rms; the alignment's softness and the border leave a part of it.
	if rms = math.Sqrt(rms); rms > 0.06 {
		t.Errorf("tracked to %.3f px rms", rms)
	}
}
