package captures

import (
	"context"
	"errors"
	"fmt"

	"plenilune/pipeline"
)

// layOut has the frames of clips laid out that do not lie plainly in a file. From then on what was laid out is the file.
func layOut(x *pipeline.Expansion, items []pipeline.Item, a asked) ([]pipeline.Item, error) {
	var out []pipeline.Item
	var untold []pipeline.ID
	sources := make([]*pipeline.Node, len(items))
	parts := make([]func(src pipeline.Value, s source) pipeline.Part, len(items))
	var pending error
	for i, it := range items {
		var err error
		if sources[i], parts[i], err = openSource(x, it, a.encoding); errors.Is(err, pipeline.ErrPending) {
			pending = err
		} else if err != nil {
			return nil, err
		}
	}
	for i, it := range items {
		if sources[i] == nil {
			out = append(out, it)
			continue
		}
		src := sources[i].Out("source")
		var known source
		err := x.Table(src, &known)
		switch {
		case errors.Is(err, pipeline.ErrPending):
			pending = err
		case err == nil: // else it is told, and the clip left out
			n := x.Add(parts[i](src, known))
			it = it.With("file", n.Out("file"))
			delete(it.Values, "pictures") // a copy's
			out = append(out, it.With("index", x.Add(indexLaidPart(it, src, n.Out("laid"), a)).Out("index")))
			if known.byClock() && a.Timed && a.clock == clockAuto && a.taken[it.ID] == 0 {
				untold = append(untold, it.ID)
			}
		}
	}
	if pending == nil {
		warnOfClocks(x, len(items), untold)
	}
	return out, pending
}

// openSource queues the part that looks at a clip whose frames must be laid out, and says which part lays them out. A clip
// that needs neither, or cannot be read, has none.
func openSource(x *pipeline.Expansion, it pipeline.Item, encoding string) (*pipeline.Node, func(pipeline.Value, source) pipeline.Part, error) {
	port, kind := "pictures", kindPicture
	if it.Values["pictures"].IsZero() {
		port = "file"
		var idx Index
		if err := x.Table(it.Values["index"], &idx); err != nil {
			if errors.Is(err, pipeline.ErrPending) || errors.Is(err, context.Canceled) {
				return nil, nil, err
			}
			return nil, nil, nil // told by that part
		}
		kind = idx.Foreign
	}
	set := sourceSettings{Encoding: encoding}
	switch kind {
	case kindPicture:
		return x.Add(picturesPart(it, port, set)), func(src pipeline.Value, s source) pipeline.Part { return layPart(it, port, src, s) }, nil
	case kindFilm:
		version, err := x.Program(decoder)
		asked, perr := x.Program(prober)
		if err := errors.Join(err, perr); errors.Is(err, context.Canceled) {
			return nil, nil, err
		}
		set.Program = asked // none if there is none: then the part says what to do
		return x.Add(filmPart(it, set)), func(src pipeline.Value, s source) pipeline.Part { return layFilmPart(it, src, s, version) }, nil
	}
	return nil, nil, nil
}

// indexLaidPart is the index of a clip that was laid out.
func indexLaidPart(it pipeline.Item, src, laid pipeline.Value, a asked) pipeline.Part {
	s := a.of(it)
	s.Clock = a.clock
	p := indexPart(it, s)
	p.Name, p.Version, p.Run = "index-laid", 4, pipeline.Bind(runIndexLaid)
	p.In = append(p.In, pipeline.Input{Port: "source", Value: src}, pipeline.Input{Port: "laid", Value: laid})
	return p
}

func runIndexLaid(_ context.Context, s partSettings, t *pipeline.Task) error {
	var l laid
	var known source
	if err := errors.Join(t.One("source").Table(&known), t.One("laid").Table(&l)); err != nil {
		return err
	}
	src := t.One("file")
	f, closer, err := src.File()
	if err != nil {
		return err
	}
	defer closer.Close()
	clip, err := l.timed(s.Clock, s.TakenUnixNS)
	if err != nil {
		return err
	}
	c, err := lookAt(f, clip, s)
	if err != nil {
		return fmt.Errorf("look at what was laid out: %w", err)
	}
	c.told, c.byClock = known.byClock(), len(l.Clock) > 0
	c.state(t, s)
	c.warn(t, pipeline.ClipName(src.ID()), s)
	return t.PutTable("index", c.index())
}
