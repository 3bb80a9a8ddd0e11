package exchange

import (
	"errors"
	"fmt"
	"io"
)

func openXLSX(r io.ReaderAt, size int64, opts Options) (*Sheet, error) {
	w, err := openWorkbook(r, size)
	if err != nil {
		return nil, err
	}
	name, others, err := w.choose(opts)
	if err == nil {
		var s *Sheet
		if s, err = w.sheet(name, others, opts); err == nil {
			return s, nil
		}
	}
	return nil, errors.Join(err, w.close())
}

// choose takes the sheet asked for, or the one whose headers are recognised
// best, the first of equals.
func (w *workbook) choose(opts Options) (name string, others []string, err error) {
	best := -1
	names := w.file.GetSheetList()
	for _, n := range names {
		if n == headSheet && opts.Sheet == "" && len(names) > 1 {
			continue // what hoseward says beside its lists
		}
		score := 0
		if opts.Sheet != "" {
			if n == opts.Sheet {
				score = 1
			}
		} else if rows, err := w.rows(n); err == nil {
			var sample [][]string
			for len(sample) < searchRows {
				cells, err := rows.read()
				if err != nil {
					break
				}
				sample = append(sample, texts(cells))
			}
			rows.close()
			_, _, score, _ = findHeader(opts.Kind, sample)
		}
		if score > best {
			best, name = score, n
		}
	}
	if name == "" || opts.Sheet != "" && name != opts.Sheet {
		return "", nil, refusal("The workbook has no sheet %q.", opts.Sheet)
	}
	for _, n := range names {
		if n != name && n != headSheet {
			others = append(others, n)
		}
	}
	return name, others, nil
}

func texts(cells []xlsxCell) []string {
	t := make([]string, len(cells))
	for i, c := range cells {
		t[i] = c.text
	}
	return t
}

func (w *workbook) sheet(name string, others []string, opts Options) (*Sheet, error) {
	if err := w.checkSheet(name); err != nil {
		return nil, err
	}
	rows, err := w.rows(name)
	if err != nil {
		return nil, err
	}
	s := &Sheet{zero: w.zero}
	s.Format, s.SheetName, s.OtherSheets = "XLSX", name, others
	s.close = func() error {
		rows.close()
		return w.close()
	}
	if len(others) > 0 && opts.Sheet == "" {
		s.Notes = append(s.Notes, fmt.Sprintf("The workbook has %d sheets; %q is read, the others are not.", len(others)+1, name))
	}
	s.next = func() ([]xlsxCell, int, error) {
		cells, err := rows.read()
		return cells, rows.row, err
	}
	if err := s.findHeaders(opts); err != nil {
		rows.close()
		return nil, err
	}
	return s, nil
}
