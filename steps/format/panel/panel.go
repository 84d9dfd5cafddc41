// Package panel keeps a stacked panel of the Moon in one FITS file, with all that is known of it, so that what is made
// of it later is the same as if it had been stacked then. The picture stands in the first unit, its other planes in units
// IMAGE, its tables as JSON in units BINTABLE of one column, each with its checksum (FITS Standard 4.0). Rows stand from the
// bottom, as the standard has it; a viewer of FITS files shows the panel upright.
package panel

import (
	"bytes"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"plenilune/steps/format/fits"
)

// layout is the number of what this package writes; what it does not know it refuses to read.
const layout = 1

// The cards that mark a panel, and the column of its tables.
const (
	layoutKey  = "PANELLAY"
	countKey   = "PANELHAS"
	fromKey    = "CLIPSHA"
	column     = "JSON"
	recordName = "RECORD"
)

// PlaneNames are the planes of a stack's product that its panel's file keeps, all of them; the first is the picture. The
// picture and its noise have as many channels as the camera's colours, the others one.
func PlaneNames() []string { return []string{"image", "noise", "weight", "count", "full"} }

// TableNames are the tables of a stack's product that its panel's file keeps, as far as it has them; the first it has.
func TableNames() []string {
	return []string{"panel", "spectrum", "light", "index", "frames", "track", "finest"}
}

// Panel is what a file holds.
type Panel struct {
	From        string  // SHA-256 of the clip that it was stacked from, in hexadecimal digits
	TakenUnixNS int64   // the middle of the frames' times, UTC; 0 if unknown
	Planes      []Plane // the first is the picture
	Tables      []Table
	Record      []byte // how it was made; nil: a file without one, to which it may be added
}

// Plane is a picture of samples of float32, in which NaN is no data.
type Plane struct {
	Name           string // letters a to z, digits and _
	W, H, Channels int
	Row            func(c, y int, dst []float32) error // row y of channel c, y from the top
}

// Table is a value as JSON.
type Table struct {
	Name string // as a plane's
	JSON []byte
}

// Encode writes a panel. Equal panels give equal bytes; samples keep every bit, but for the kind of NaN.
func Encode(w io.Writer, p Panel) error {
	if len(p.Planes) == 0 {
		return errors.New("a panel without a picture")
	}
	for i, pl := range p.Planes {
		f := fits.Picture{W: pl.W, H: pl.H, Channels: pl.Channels, Row: pl.Row}
		var err error
		if i == 0 {
			f.Cards = p.cards()
			err = fits.Encode(w, f)
		} else {
			err = fits.EncodeImage(w, strings.ToUpper(pl.Name), f)
		}
		if err != nil {
			return fmt.Errorf("write plane %s: %w", pl.Name, err)
		}
	}
	for _, t := range p.Tables {
		if _, err := w.Write(fits.AppendTable(nil, strings.ToUpper(t.Name), column, t.JSON)); err != nil {
			return fmt.Errorf("write table %s: %w", t.Name, err)
		}
	}
	if p.Record == nil {
		return nil
	}
	if _, err := w.Write(WithRecord(nil, p.Record)); err != nil {
		return fmt.Errorf("write record: %w", err)
	}
	return nil
}

// WithRecord adds the record to a file that has none.
func WithRecord(file, record []byte) []byte {
	return fits.AppendTable(file, recordName, column, record)
}

func (p Panel) cards() []fits.Card {
	out := []fits.Card{{Key: "OBJECT", Value: "Moon"}, {Key: "CREATOR", Value: "plenilune"}, {Key: "EXTNAME", Value: strings.ToUpper(p.Planes[0].Name)}}
	if p.TakenUnixNS > 0 {
		out = append(out, fits.Card{Key: "TIMESYS", Value: "UTC"},
			fits.Card{Key: "DATE-AVG", Value: time.Unix(0, p.TakenUnixNS).UTC().Format("2006-01-02T15:04:05.000")})
	}
	return append(out, fits.Card{Key: layoutKey, Value: layout, Comment: "a stacked panel with its planes and tables"},
		fits.Card{Key: countKey, Value: len(p.Planes) + len(p.Tables), Comment: "planes and tables"},
		fits.Card{Key: fromKey, Value: p.From})
}

// ErrNone says that a file is no panel of this kind, though it may be a picture.
var ErrNone = errors.New("it holds no panel with its planes and tables")

// File is a panel in a file.
type File struct {
	Panel
	units []fits.Unit
}

// Open reads where in a file the planes of a panel are, and its tables. Rows are read when they are asked for.
func Open(r io.ReaderAt, size int64) (*File, error) {
	head := make([]byte, 9)
	if n, _ := r.ReadAt(head, 0); n < len(head) || !fits.Begins(head) {
		return nil, ErrNone
	}
	units, err := fits.Units(r, size)
	if err != nil {
		return nil, err
	}
	if units[0].Value(layoutKey) == "" {
		return nil, ErrNone
	}
	if got := units[0].Value(layoutKey); got != strconv.Itoa(layout) {
		return nil, fmt.Errorf("a panel of layout %s, and this program reads layout %d: a newer one may read it", got, layout)
	}
	f := &File{units: units}
	if f.From = units[0].Value(fromKey); !isSHA256(f.From) {
		return nil, fmt.Errorf("it does not say which clip it was stacked from: %s is %q", fromKey, f.From)
	}
	seen := map[string]bool{}
	for i, u := range units {
		name := strings.ToLower(u.Name)
		if seen[name] || name == "" {
			return nil, fmt.Errorf("unit %d is called %q, and names must differ", i+1, u.Name)
		}
		seen[name] = true
		if err := f.take(name, u); err != nil {
			return nil, err
		}
	}
	if n := len(f.Planes) + len(f.Tables); units[0].Value(countKey) != strconv.Itoa(n) {
		return nil, fmt.Errorf("it should hold %s planes and tables, and %d are there: the file is damaged or cut", units[0].Value(countKey), n)
	}
	if end := units[len(units)-1].End(); end != size {
		return nil, fmt.Errorf("byte %d: what follows is no part of a panel: the file is damaged", end)
	}
	return f, nil
}

// take takes a unit in.
func (f *File) take(name string, u fits.Unit) error {
	if u.Kind != "BINTABLE" {
		w, h, channels, row, err := u.Float32()
		if err != nil {
			return err
		}
		f.Planes = append(f.Planes, Plane{name, w, h, channels, row})
		return nil
	}
	b, err := u.Content()
	if err != nil {
		return err
	}
	if u.Name == recordName {
		f.Record = b
		return nil
	}
	f.Tables = append(f.Tables, Table{name, b})
	return nil
}

// Verify holds every unit against its checksum.
func (f *File) Verify() error {
	for _, u := range f.units {
		if u.Value("CHECKSUM") == "" {
			return fmt.Errorf("%s is damaged: it has no checksum", u.Name)
		}
		if err := u.Verify(); err != nil {
			return err
		}
	}
	return nil
}

func isSHA256(s string) bool {
	b, err := hex.DecodeString(s)
	return err == nil && len(b) == 32 && bytes.Equal([]byte(hex.EncodeToString(b)), []byte(s))
}
