package finish

import (
	"context"
	"fmt"
	"image"
	"math"

	"plenilune/pipeline"
	"plenilune/steps/kernel/plane"
)

// lightCell is the side of the squares, in pixels, whose mean light is known; tiles hold whole ones.
const lightCell = 32

// enoughPixels tell how a picture's brightness is spread; of a larger one every n-th along both sides is looked at.
const enoughPixels = 1 << 20

// survey is what is known of a whole picture without holding it.
type survey struct {
	thin  *plane.Image // every n-th pixel of every n-th row
	most  []float32    // the brightest pixel of each channel; −Inf if there is none
	cells []float32    // mean over the channels and the pixels of each square, NaN without data, row by row
	w, h  int          // squares

	width, height int // of the picture
}

// surveyOf looks at a picture tile by tile.
func surveyOf(ctx context.Context, t *pipeline.Task, src *pipeline.PlaneReader) (*survey, error) {
	w, h, channels := src.Size()
	n := 1
	for (w/n)*(h/n) > enoughPixels {
		n++
	}
	s := &survey{thin: plane.New((w+n-1)/n, (h+n-1)/n, channels), w: (w + lightCell - 1) / lightCell, h: (h + lightCell - 1) / lightCell, width: w, height: h}
	s.cells = make([]float32, s.w*s.h)
	tiles := pipeline.PlaneTiles(w, h)
	most := make([][]float32, len(tiles))
	err := t.Each(ctx, len(tiles), func(i int) error {
		r := tiles[i]
		m := plane.New(r.Dx(), r.Dy(), channels)
		for c, p := range m.Pix {
			if err := src.ReadRect(c, r, p); err != nil {
				return fmt.Errorf("read %v: %w", r, err)
			}
			most[i] = append(most[i], brightest(p))
			for y := (r.Min.Y + n - 1) / n * n; y < r.Max.Y; y += n {
				for x := (r.Min.X + n - 1) / n * n; x < r.Max.X; x += n {
					s.thin.Pix[c][y/n*s.thin.W+x/n] = p[(y-r.Min.Y)*r.Dx()+x-r.Min.X]
				}
			}
		}
		s.fillCells(m, r)
		return nil
	})
	for c := range channels {
		top := float32(math.Inf(-1))
		for _, m := range most {
			if c < len(m) {
				top = max(top, m[c])
			}
		}
		s.most = append(s.most, top)
	}
	return s, err
}

func brightest(p []float32) float32 {
	top := float32(math.Inf(-1))
	for _, v := range p {
		if v > top {
			top = v
		}
	}
	return top
}

// fillCells averages a tile, which lies at r, over its squares.
func (s *survey) fillCells(m *plane.Image, r image.Rectangle) {
	lum := m.Luminance()
	for cy := r.Min.Y / lightCell; cy*lightCell < r.Max.Y; cy++ {
		for cx := r.Min.X / lightCell; cx*lightCell < r.Max.X; cx++ {
			in := image.Rect(cx*lightCell, cy*lightCell, (cx+1)*lightCell, (cy+1)*lightCell).Intersect(r)
			sum, n := 0.0, 0
			for y := in.Min.Y; y < in.Max.Y; y++ {
				for _, v := range lum[(y-r.Min.Y)*m.W+in.Min.X-r.Min.X : (y-r.Min.Y)*m.W+in.Max.X-r.Min.X] {
					if v == v {
						sum += float64(v)
						n++
					}
				}
			}
			s.cells[cy*s.w+cx] = float32(sum / float64(n)) // NaN of none
		}
	}
}

// lightTable is how bright a picture's squares are, in thousandths of the brightest ground at large; −1 is no data.
type lightTable struct {
	Width, Height int // of the picture, px

	Cell  int   `json:"cell_px"`
	W     int   `json:"w"`
	H     int   `json:"h"`
	Light []int `json:"light"` // row by row
}

// light brings the squares to the levels found.
func (s *survey) light(l levelsTable) lightTable {
	out := lightTable{Width: s.width, Height: s.height, Cell: lightCell, W: s.w, H: s.h, Light: make([]int, len(s.cells))}
	black := 0.0
	for _, b := range l.Black {
		black += b / float64(len(l.Black))
	}
	for i, v := range s.cells {
		out.Light[i] = -1
		if v == v {
			out.Light[i] = int(math.Round(max(0, min(9999, (float64(v)-black)/l.Large*1000))))
		}
	}
	return out
}

// at returns the light at a place of the picture, 1 the brightest ground at large; 0 where nothing is known.
func (l *lightTable) at(x, y float64) float64 {
	cx, cy := int(math.Floor((x+0.5)/float64(l.Cell))), int(math.Floor((y+0.5)/float64(l.Cell)))
	if cx < 0 || cy < 0 || cx >= l.W || cy >= l.H {
		return 0
	}
	return float64(max(0, l.Light[cy*l.W+cx])) / 1000
}
