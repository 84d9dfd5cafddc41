package publish

import (
	"context"
	"fmt"
	"io"
	"path"

	"plenilune/pipeline"
	"plenilune/steps/format/panel"
)

// Panels are files of a stack's panels, each with all that later steps need of it, from which a manifest may start.
type Panels struct {
	Stack  pipeline.Ref `hcl:"stack" refs:"stack panels"`
	Folder string       `hcl:"folder"`
}

// WritePanel writes a panel, stacked from the clip of content id from. source returns the value on a port, false where
// there is none; record is how the panel was made, nil leaves it out.
func WritePanel(w io.Writer, from pipeline.ID, source func(port string) (pipeline.Source, bool), record []byte) error {
	p := panel.Panel{From: from.String(), Record: record}
	var held heldPlane
	for _, port := range panel.PlaneNames() {
		src, ok := source(port)
		if !ok {
			return fmt.Errorf("a panel has no %s", port)
		}
		r, err := src.Plane()
		if err != nil {
			return fmt.Errorf("read %s: %w", port, err)
		}
		q := panel.Plane{Name: port}
		q.W, q.H, q.Channels = r.Size()
		r.Close()
		q.Row = func(c, y int, dst []float32) error {
			pix, err := held.of(port, src)
			if err == nil {
				copy(dst, pix[c][y*q.W:(y+1)*q.W])
			}
			return err
		}
		p.Planes = append(p.Planes, q)
	}
	for _, port := range panel.TableNames() {
		src, ok := source(port)
		if !ok {
			continue
		}
		var raw rawTable
		if err := src.Table(&raw); err != nil {
			return fmt.Errorf("read %s: %w", port, err)
		}
		p.Tables = append(p.Tables, panel.Table{Name: port, JSON: raw})
		if port != "panel" {
			continue
		}
		var row panelRow
		if err := src.Table(&row); err != nil {
			return fmt.Errorf("read %s: %w", port, err)
		}
		p.TakenUnixNS = row.MidUnixNS
	}
	return panel.Encode(w, p)
}

// heldPlane is the plane read last: rows of one are asked for before those of the next.
type heldPlane struct {
	port string
	pix  [][]float32
}

func (h *heldPlane) of(port string, src pipeline.Source) ([][]float32, error) {
	if h.port == port {
		return h.pix, nil
	}
	h.port, h.pix = "", nil
	_, _, pix, err := src.Pixels()
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", port, err)
	}
	h.port, h.pix = port, pix
	return pix, nil
}

// rawTable is a table's JSON as it is stored.
type rawTable []byte

// UnmarshalJSON keeps the bytes.
func (r *rawTable) UnmarshalJSON(b []byte) error {
	*r = append((*r)[:0], b...)
	return nil
}

// panelSettings are what varies a panel's file beside its planes and tables.
type panelSettings struct{ From string }

// deliverPanels adds a file for each of a stack's panels, called by its clip's content: clips' names are no one's business, and
// whoever renames clips finds the same files.
func deliverPanels(x *pipeline.Expansion, p Panels) error {
	items, err := x.Upstream(p.Stack)
	if err != nil {
		return err
	}
	for _, it := range items {
		file := path.Join(p.Folder, "panel-"+it.ID.Short()+".fits")
		part := pipeline.Part{
			Name: "panel", Label: file, Item: pipeline.Item{ID: it.ID}, Version: 1, Settings: panelSettings{it.ID.String()},
			Out: []string{"file"}, Memory: 256 << 20, Run: pipeline.Bind(runPanel),
		}
		for _, ports := range [][]string{panel.PlaneNames(), panel.TableNames()} {
			for _, port := range ports {
				if v := it.Values[port]; !v.IsZero() {
					part.In = append(part.In, pipeline.Input{Port: port, Value: v})
				}
			}
		}
		x.Deliver(pipeline.Delivery{File: file, Encoded: x.Add(part).Out("file"), Version: 1, Splice: splicePanel})
	}
	return nil
}

func splicePanel(encoded, record []byte) ([]byte, error) {
	return panel.WithRecord(encoded, record), nil
}

func runPanel(_ context.Context, s panelSettings, t *pipeline.Task) error {
	var from pipeline.ID
	if err := from.UnmarshalText([]byte(s.From)); err != nil {
		return err
	}
	return t.PutBytes("file", func(w io.Writer) error {
		return WritePanel(w, from, func(port string) (pipeline.Source, bool) {
			in := t.In(port)
			if len(in) != 1 {
				return pipeline.Source{}, false
			}
			return in[0], true
		}, nil)
	})
}
