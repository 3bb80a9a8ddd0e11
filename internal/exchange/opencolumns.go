package exchange

import (
	"errors"
	"fmt"
	"io"
	"strings"
)

// findHeaders reads the first rows, finds the headers among them and gives the
// columns their meanings.
func (s *Sheet) findHeaders(opts Options) error {
	var sample [][]string
	first := 0
	for len(s.ahead) < searchRows+1 {
		cells, row, err := s.next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			s.err = fileError(err)
			break
		}
		if len(s.ahead) == 0 {
			first = row
		}
		s.ahead = append(s.ahead, cells)
		sample = append(sample, texts(cells))
	}
	at, kind, _, ok := findHeader(opts.Kind, sample)
	if !ok && len(opts.Meanings) > 0 {
		at, ok = chosenHeader(opts.Meanings, sample)
		kind = opts.Kind
	}
	if !ok || kind == "" {
		if s.err != nil {
			return s.err
		}
		return noHeaders(sample)
	}
	s.Kind, s.KindGuessed, s.HeaderRow = kind, opts.Kind == "", first+at
	if s.KindGuessed {
		s.Notes = append(s.Notes, fmt.Sprintf("The headers are those of a list of %s.", kind))
	}
	if at > 0 {
		s.Notes = append(s.Notes, fmt.Sprintf("The headers stand in row %d; what is above them is not read.", s.HeaderRow))
	}
	return s.nameColumns(opts, sample, at)
}

// chosenHeader finds the row that has the headers somebody gave meanings to.
func chosenHeader(meanings map[string]string, rows [][]string) (int, bool) {
	for i, row := range rows {
		hits := 0
		for _, h := range uniqueHeaders(row) {
			for chosen := range meanings {
				if headerKey(chosen) == headerKey(h) {
					hits++
				}
			}
		}
		if hits > 0 && hits >= len(meanings)/2 {
			return i, true
		}
	}
	return 0, false
}

func noHeaders(sample [][]string) error {
	for _, row := range sample {
		if filled(row) > 0 {
			return refusal("No row among the first %d has headers that are known here, such as machine, position, rating or hours; the file begins with %q.", searchRows, clipText(strings.Join(row, " ")))
		}
	}
	return refusal("The file has no rows.")
}

func (s *Sheet) nameColumns(opts Options, sample [][]string, at int) error {
	width := len(sample[at])
	for _, row := range sample[at:] { // a column without header may have values
		width = max(width, len(row))
	}
	headers := make([]string, width)
	copy(headers, sample[at])
	headers = uniqueHeaders(headers)
	s.HeaderHash = HeaderHash(headers)
	meanings := opts.Meanings
	if meanings == nil && opts.Remembered != nil {
		var err error
		if meanings, err = opts.Remembered(s.Kind, s.HeaderHash); err != nil {
			return err
		}
	}
	s.Columns = giveMeanings(s.Kind, headers, meanings)
	skip := at + 1
	if skip < len(sample) && unitRow(s.Columns, sample[skip]) {
		skip++
	}
	setThousands(s.Columns, sample[skip:])
	s.dropEmpty(sample[at:])
	s.row = s.HeaderRow + skip - at - 1
	s.ahead = s.ahead[skip:]
	s.b.has = map[string]bool{}
	s.headers, s.cellAt = map[string]string{}, map[string]int{}
	s.b.today = opts.Today
	s.b.exported = isExported(s.Kind, s.Columns)
	s.b.cells = map[string]cell{}
	for i, c := range s.Columns {
		if c.Field != "" {
			s.b.has[c.Field] = true
			s.headers[c.Field], s.cellAt[c.Field] = c.Header, i
		}
	}
	s.noteColumns()
	if !hasEssentials(s.Kind, s.b.has) {
		for _, name := range essentials(s.Kind)[0] {
			if !s.b.has[name] {
				s.Missing = append(s.Missing, name)
			}
		}
	}
	return nil
}

// dropEmpty takes a column without header and without values in the first rows
// out of the report.
func (s *Sheet) dropEmpty(sample [][]string) {
	for n := len(s.Columns); n > 0; n-- {
		c := s.Columns[n-1]
		for _, row := range sample {
			if at(row, c.index) != "" {
				return
			}
		}
		s.Columns = s.Columns[:n-1]
	}
}
