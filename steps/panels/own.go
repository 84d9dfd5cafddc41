package panels

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"io"
	"slices"

	"plenilune/pipeline"
	"plenilune/steps/format/panel"
)

// head is what a panel's file holds.
type head struct {
	Kind     string      `json:"kind"` // what the file is, for people
	From     pipeline.ID `json:"from"` // content id of the clip that it was stacked from; zero for a picture that does not say
	Width    int         `json:"width"`
	Height   int         `json:"height"`
	Channels int         `json:"channels"`
	Planes   []string    `json:"planes"`
	Tables   []string    `json:"tables"`
	Record   bool        `json:"record"` // it tells how it was made

	TakenUnixNS int64 `json:"taken_unix_ns"` // the middle of when it was taken; 0 if it does not say
}

// recordPort is where the record found in a file goes.
const recordPort = "record"

// opened calls fn with the file of a part.
func opened(t *pipeline.Task, fn func(pipeline.File) error) (err error) {
	f, closer, err := t.One("file").File()
	if err != nil {
		return err
	}
	defer func() {
		if e := closer.Close(); err == nil {
			err = e
		}
	}()
	return fn(f)
}

func runHead(_ context.Context, t *pipeline.Task) error {
	return opened(t, func(f pipeline.File) error {
		h, frames, err := headOf(f)
		if err != nil {
			return err
		}
		t.Fact("frames", float64(frames), "frames")
		t.Fact("width", float64(h.Width), "px")
		t.Fact("height", float64(h.Height), "px")
		t.FactText("pattern", map[bool]string{true: "mono", false: "colour"}[h.Channels == 1])
		return t.PutTable("head", h)
	})
}

// headOf looks at a file, and at how many frames it was stacked from; one of a picture counts as one.
func headOf(f pipeline.File) (h head, frames int, err error) {
	p, err := panel.Open(f, f.Size())
	switch {
	case errors.Is(err, panel.ErrNone):
		s, err := openStill(f)
		if err != nil {
			return h, 0, err
		}
		return head{Width: s.w, Height: s.h, Channels: s.channels, Kind: s.kind, TakenUnixNS: s.taken}, 1, nil
	case err != nil:
		return h, 0, err
	}
	h, table, err := ownHead(p)
	h.TakenUnixNS = table.MidUnixNS
	return h, max(1, table.FramesTotal), err
}

// ownHead tells what one of our own panels holds, and refuses one that later steps would stumble over.
func ownHead(p *panel.File) (h head, table panelTable, err error) {
	if err = h.From.UnmarshalText([]byte(p.From)); err != nil {
		return h, table, err
	}
	h.Kind = "panel"
	first := p.Planes[0]
	h.Width, h.Height, h.Channels = first.W, first.H, first.Channels
	for _, name := range panel.PlaneNames() {
		i := slices.IndexFunc(p.Planes, func(q panel.Plane) bool { return q.Name == name })
		if i < 0 {
			return h, table, fmt.Errorf("it has no plane called %s", name)
		}
		q, channels := p.Planes[i], 1
		if name == "image" || name == "noise" {
			channels = h.Channels
		}
		if q.W != h.Width || q.H != h.Height || q.Channels != channels {
			return h, table, fmt.Errorf("its plane %s has %d×%d×%d px, and the panel %d×%d×%d", name, q.W, q.H, q.Channels, h.Width, h.Height, channels)
		}
		h.Planes = append(h.Planes, name)
	}
	table = panelTable{Width: h.Width, Height: h.Height, Channels: h.Channels}
	for k, name := range panel.TableNames() {
		i := slices.IndexFunc(p.Tables, func(q panel.Table) bool { return q.Name == name })
		switch {
		case i >= 0:
			h.Tables = append(h.Tables, name)
			if err := checkTable(p.Tables[i], &table); err != nil {
				return h, table, err
			}
		case k == 0:
			return h, table, fmt.Errorf("it has no table called %s", name)
		}
	}
	_, err = pipeline.ParseRecord(p.Record)
	h.Record = p.Record != nil && err == nil
	return h, table, nil
}

func runRead(ctx context.Context, t *pipeline.Task) error {
	return opened(t, func(f pipeline.File) error {
		p, err := panel.Open(f, f.Size())
		if err != nil {
			return err
		}
		if err := p.Verify(); err != nil {
			return err
		}
		h, _, err := ownHead(p)
		if err != nil {
			return err
		}
		for _, q := range p.Planes {
			if slices.Contains(h.Planes, q.Name) {
				if err := writePlane(ctx, t, q); err != nil {
					return err
				}
			}
		}
		for _, q := range p.Tables {
			if slices.Contains(h.Tables, q.Name) {
				if err := t.PutTable(q.Name, json.RawMessage(q.JSON)); err != nil {
					return err
				}
			}
		}
		if !h.Record {
			return nil
		}
		return t.PutBytes(recordPort, func(w io.Writer) error {
			_, err := w.Write(p.Record)
			return err
		})
	})
}

// writePlane stores a plane as it stands in the file.
func writePlane(ctx context.Context, t *pipeline.Task, q panel.Plane) error {
	return t.WritePlane(ctx, q.Name, q.W, q.H, q.Channels, func(r image.Rectangle, dst [][]float32) error {
		row := make([]float32, q.W)
		for c := range dst {
			for y := r.Min.Y; y < r.Max.Y; y++ {
				if err := q.Row(c, y, row); err != nil {
					return err
				}
				copy(dst[c][(y-r.Min.Y)*r.Dx():], row[r.Min.X:r.Max.X])
			}
		}
		return nil
	})
}
