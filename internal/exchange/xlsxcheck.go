package exchange

import (
	"archive/zip"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"hoseward/internal/register"
)

// maxDepth is how deep the elements of a sheet or of its texts may lie in each
// other; what spreadsheet programs write lies less than twenty deep.
const maxDepth = 100

// checkSheet reads the whole part of a sheet once, strictly, before any row of
// it is taken: the library that reads the rows takes XML that is broken for
// the end of the sheet, and every row below would be missing without a word.
func (w *workbook) checkSheet(name string) error {
	sheet := partNamed(w.pkg, w.parts[name])
	if sheet == nil {
		return damaged()
	}
	if row, ok := soundPart(sheet, true); !ok {
		return damagedAt(row)
	}
	if texts := partNamed(w.pkg, "xl/sharedstrings.xml"); texts != nil {
		if _, ok := soundPart(texts, false); !ok {
			return &register.Error{Code: register.Invalid, Sentence: "The texts of the workbook are damaged; nothing was taken. Open it and save it anew."}
		}
	}
	return nil
}

func damagedAt(row int) error {
	where := "before its first row"
	if row > 0 {
		where = fmt.Sprintf("in row %d", row)
	}
	return &register.Error{Code: register.Invalid, Sentence: fmt.Sprintf("The workbook is damaged %s; nothing was taken. Open it and save it anew.", where)}
}

// partNamed finds a part by its name in lower case; nil if it is not there.
func partNamed(zr *zip.Reader, name string) *zip.File {
	for _, f := range zr.File {
		if strings.ToLower(strings.ReplaceAll(f.Name, "\\", "/")) == name {
			return f
		}
	}
	return nil
}

// soundPart reports whether a part is well-formed XML without entities of its
// own; one of a sheet must hold its rows in rising order and end them. row is
// the number of the row last begun.
func soundPart(f *zip.File, sheet bool) (row int, ok bool) {
	r, err := f.Open()
	if err != nil {
		return 0, false
	}
	defer r.Close()
	c := partChecker{d: xml.NewDecoder(io.LimitReader(r, maxUnpacked)), sheet: sheet}
	c.d.CharsetReader = anyCharset
	for {
		t, err := c.d.Token()
		if errors.Is(err, io.EOF) {
			return c.row, c.begun && (!sheet || c.ended)
		}
		if err != nil || !c.take(t) {
			return c.row, false
		}
	}
}

// anyCharset leaves the bytes of another encoding as they are: only the signs
// of XML are looked at.
func anyCharset(_ string, r io.Reader) (io.Reader, error) { return r, nil }

type partChecker struct {
	d            *xml.Decoder
	sheet        bool
	depth, row   int
	begun, ended bool // the root; the rows
	inRows       bool
}

func (c *partChecker) take(t xml.Token) bool {
	switch t := t.(type) {
	case xml.Directive: // a DOCTYPE: no workbook has one
		return false
	case xml.StartElement:
		c.begun = true
		c.depth++
		if c.depth > maxDepth {
			return false
		}
		if !c.sheet {
			return true
		}
		switch t.Name.Local {
		case "sheetData":
			if c.ended && c.depth == 2 {
				return false // rows behind the end of the rows would not be read
			}
			c.inRows = true
		case "row":
			return !c.inRows || c.nextRow(t)
		}
	case xml.EndElement:
		c.depth--
		if t.Name.Local == "sheetData" {
			c.inRows, c.ended = false, true
		}
	}
	return true
}

// nextRow takes the number of a row, or counts where it has none. Rows whose
// numbers do not rise would be read into each other.
func (c *partChecker) nextRow(t xml.StartElement) bool {
	next := c.row + 1
	for _, a := range t.Attr {
		if a.Name.Local == "r" {
			n, err := strconv.Atoi(a.Value)
			if err != nil || n < next {
				return false
			}
			next = n
		}
	}
	c.row = next
	return true
}
