package publish

import (
	"bytes"
	"compress/zlib"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"io"

	"plenilune/steps/format/fits"
	"plenilune/steps/format/png"
	"plenilune/steps/format/tiff"
)

// recordKeyword marks the iTXt chunk of a PNG file that holds the record.
const recordKeyword = "plenilune record"

// The XMP properties that hold a record's id, and the record itself, deflated
// (RFC 1950) and in base64, where the file has no better place for it.
const (
	xmpHead = `<?xpacket begin="` + "\ufeff" + `" id="W5M0MpCehiHzreSzNTczkc9d"?>` +
		`<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">` +
		`<rdf:Description rdf:about="" xmlns:xmp="http://ns.adobe.com/xap/1.0/" xmlns:record="urn:plenilune:record:1#">` +
		`<xmp:CreatorTool>plenilune</xmp:CreatorTool>`
	xmpTail  = `</rdf:Description></rdf:RDF></x:xmpmeta><?xpacket end="r"?>`
	idOpen   = "<record:sha256>"
	idClose  = "</record:sha256>"
	zipOpen  = "<record:deflated>"
	zipClose = "</record:deflated>"
)

// xmp builds an XMP packet (ISO 16684-1) with the record's id, and with the
// record if full.
func xmp(record []byte, full bool) ([]byte, error) {
	var b bytes.Buffer
	sum := sha256.Sum256(record)
	b.WriteString(xmpHead + idOpen + hex.EncodeToString(sum[:]) + idClose)
	if full {
		var z bytes.Buffer
		w, err := zlib.NewWriterLevel(&z, zlib.BestCompression)
		if err != nil {
			return nil, err
		}
		if _, err := w.Write(record); err != nil {
			return nil, err
		}
		if err := w.Close(); err != nil {
			return nil, err
		}
		b.WriteString(zipOpen + base64.StdEncoding.EncodeToString(z.Bytes()) + zipClose)
	}
	b.WriteString(xmpTail)
	return b.Bytes(), nil
}

func spliceTIFF(encoded, record []byte) ([]byte, error) {
	x, err := xmp(record, true)
	if err != nil {
		return nil, err
	}
	return tiff.WithXMP(encoded, x)
}

func splicePNG(encoded, record []byte) ([]byte, error) {
	x, err := xmp(record, false)
	if err != nil {
		return nil, err
	}
	packet, err := png.Text(png.XMPKeyword, string(x), false)
	if err != nil {
		return nil, err
	}
	whole, err := png.Text(recordKeyword, string(record), true)
	if err != nil {
		return nil, err
	}
	return png.Insert(encoded, packet, whole)
}

// app1 begins an XMP segment of a JPEG file (ISO 16684-3, 1.1.3).
const app1 = "http://ns.adobe.com/xap/1.0/\x00"

func spliceJPEG(encoded, record []byte) ([]byte, error) {
	x, err := xmp(record, false)
	if err != nil {
		return nil, err
	}
	return inserted(encoded, segment(0xe1, append([]byte(app1), x...)))
}

// recordInJPEG is by how many bytes spliceJPEG makes a file longer.
func recordInJPEG() int {
	x, _ := xmp(nil, false) // it can fail only where it packs the record
	return len(segment(0xe1, append([]byte(app1), x...)))
}

// The table of a FITS file that holds the record.
const (
	fitsTable  = "RECORD"
	fitsColumn = "JSON"
)

func spliceFITS(encoded, record []byte) ([]byte, error) {
	return fits.AppendTable(encoded, fitsTable, fitsColumn, record), nil
}

// ErrNoRecord says that a picture holds no record of this program's.
var ErrNoRecord = errors.New("there is no record in it: it was not made by plenilune, or another program saved it anew")

// maxRecord bounds what a picture may make us inflate: some thousand clips' work.
const maxRecord = 16 << 20

// ReadRecord returns the record in a PNG, TIFF or FITS file. A JPEG file holds only the
// record's id, the SHA-256 of the record in hexadecimal digits: record is nil.
func ReadRecord(r io.ReaderAt, size int64) (record []byte, id string, err error) {
	head := make([]byte, 9)
	if n, err := r.ReadAt(head, 0); n < len(head) {
		return nil, "", fmt.Errorf("read its first bytes: %w", err)
	}
	switch {
	case bytes.HasPrefix(head, []byte("\x89PNG")):
		record, err = recordOfPNG(r, size)
		return record, "", err
	case tiff.Begins(head):
		packet, err := tiff.ReadXMP(r, size)
		if err != nil {
			return nil, "", err
		}
		record, err = recordOfXMP(packet)
		return record, "", err
	case bytes.HasPrefix(head, []byte("\xff\xd8")):
		id, err = idOfJPEG(r, size)
		return nil, id, err
	case fits.Begins(head):
		record, ok, err := fits.Table(r, size, fitsTable)
		if err == nil && !ok {
			err = ErrNoRecord
		}
		return record, "", err
	}
	return nil, "", errors.New("it is no PNG, TIFF, FITS or JPEG file")
}

func recordOfPNG(r io.ReaderAt, size int64) ([]byte, error) {
	chunks, err := png.Chunks(r, size, func(kind string) bool { return kind == "iTXt" })
	if err != nil {
		return nil, err
	}
	for _, c := range chunks {
		if c.Keyword() == recordKeyword {
			text, err := c.Text()
			return []byte(text), err
		}
	}
	return nil, ErrNoRecord
}

func between(b []byte, open, end string) ([]byte, bool) {
	_, rest, ok1 := bytes.Cut(b, []byte(open))
	in, _, ok2 := bytes.Cut(rest, []byte(end))
	return in, ok1 && ok2
}

func recordOfXMP(packet []byte) ([]byte, error) {
	text, ok := between(packet, zipOpen, zipClose)
	if !ok {
		return nil, ErrNoRecord
	}
	z, err := base64.StdEncoding.DecodeString(string(text))
	if err != nil {
		return nil, fmt.Errorf("read the record: %w", err)
	}
	out, err := png.Inflate(z, maxRecord)
	if err != nil {
		return nil, fmt.Errorf("unpack the record: %w", err)
	}
	return out, nil
}

// idOfJPEG reads the id from the first segments, where this program puts it.
func idOfJPEG(r io.ReaderAt, size int64) (string, error) {
	head := make([]byte, min(size, 64<<10))
	if _, err := r.ReadAt(head, 0); err != nil && err != io.EOF {
		return "", fmt.Errorf("read its first bytes: %w", err)
	}
	id, ok := between(head, idOpen, idClose)
	if !ok {
		return "", ErrNoRecord
	}
	return string(id), nil
}
