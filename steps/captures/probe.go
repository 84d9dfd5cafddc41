package captures

import (
	"context"
	"errors"

	"plenilune/pipeline"
)

// Probe reads a capture's header and some of its samples, as the part index does
// with every setting at its default. Of a file whose frames would have to be laid out, Foreign is all that it tells.
func Probe(f pipeline.File) (Index, error) {
	c, err := look(f, partSettings{ByteOrder: "auto", Timed: true, Bayer: bayerAuto})
	if err != nil {
		if kind := foreign(f, err); kind != "" {
			return Index{Foreign: kind}, nil
		}
		return Index{}, err
	}
	return c.index(), nil
}

// ProbePictures looks at the first of a clip's pictures that can be read.
func ProbePictures(pieces []pipeline.Piece) (Index, error) {
	err := errors.New("it holds no picture")
	for i := range pieces {
		var x Index
		var plain bool
		if x, plain, err = probeFITS(pieces[i]); plain && err == nil {
			x.Foreign, x.Frames, x.Declared, x.TimesUnixNS = kindPicture, len(pieces), int64(len(pieces)), nil
			return x, nil
		}
		if plain || err != nil {
			continue
		}
		var s source
		if s, err = lookAtPicture(pieces[i], sourceSettings{Encoding: encodingAuto}); err == nil {
			s.Frames = len(pieces)
			return s.index(kindPicture), nil
		}
	}
	return Index{}, err
}

// BeganUnixNS is when a clip that was probed began, in Unix nanoseconds UTC, as a block's settings have it count; 0 if unknown.
func (s *ClipSettings) BeganUnixNS(x Index) int64 {
	if ahead, known, err := clockOf(s.Clock); x.StartUnixNS == 0 && x.ClockUnixNS != 0 && known && err == nil {
		return x.ClockUnixNS - ahead
	}
	return x.StartUnixNS
}

// probeFITS looks at a picture as Probe does at a clip, if it is FITS.
func probeFITS(piece pipeline.Piece) (x Index, is bool, err error) {
	f, closer, err := piece.Open()
	if err != nil {
		return Index{}, false, err
	}
	defer closer.Close()
	if !isFITS(f) {
		return Index{}, false, nil
	}
	if _, err = openFITS(f); err == nil {
		x, err = Probe(f)
	}
	return x, true, err
}

// ProbeFilm asks the program that reads films about one.
func ProbeFilm(ctx context.Context, p pipeline.Programs, path string) (Index, error) {
	version, err := p.Version(ctx, prober)
	if err != nil {
		return Index{}, err
	}
	s, err := lookAtFilm(sourceSettings{encodingAuto, version}, func(args []string, out *limited) (string, error) {
		return pipeline.Through(ctx, p, path, prober, args, out)
	})
	return s.index(kindFilm), err
}

// index tells of a clip what can be told before it is laid out.
func (s source) index(kind string) Index {
	l := s.layout()
	x := Index{Foreign: kind, Layout: l, FilePattern: l.Pattern, Frames: s.Frames, Declared: int64(s.Frames), Depth: s.Bits, Empty: kind == kindPicture && s.Frames == 0}
	switch {
	case s.byClock():
		x.ClockUnixNS = s.Began
	case s.Began != 0:
		x.StartUnixNS, x.TimeSource = s.Began, "header"
	}
	return x
}
