package exchange

import (
	"slices"
	"strings"

	"hoseward/internal/register"
)

// above is what a row can take from the row over it: people write a machine
// once at the head of its block, and ditto marks below a value. A blank row or
// a line of totals ends a block, so that nothing is carried across one.
// Common practice, no source.
type above struct {
	row   int        // number of the row it was taken from
	cells []xlsxCell // of that row, its own ditto marks and blanks filled
}

// isDitto tells the marks that say "the same as above". A quotation mark alone
// is one; "do" without a point is a word.
func isDitto(text string) bool {
	switch strings.ToLower(strings.ReplaceAll(text, " ", "")) {
	case `"`, "“", "”", "„", "″", "''", "’’", ",,", "〃", `-"-`, "-”-", "-“-", "do.", "dto", "dto.", "ditto", "dito", "asabove", "sameasabove", "wieoben", "s.o.":
		return true
	}
	return false
}

// repeated says where a cell's value came from.
type repeated struct {
	column int
	mark   string // what stood there; empty for a machine written once
}

// fromAbove fills the ditto marks of a row, and the machine of a row that has
// a position and more but no machine, from the row above. What cannot be
// filled stays as it stands.
func (s *Sheet) fromAbove(cells []xlsxCell) ([]xlsxCell, []repeated) {
	if s.b.exported {
		return cells, nil
	}
	if s.above.row != s.row-1 {
		s.above.cells = nil // rows left out of the file are blank rows
	}
	filled := slices.Clone(cells)
	var told []repeated
	for _, col := range s.Columns {
		if col.Field == "" || col.Field == "assembly" { // a code is one hose's own
			continue
		}
		over := trimCell(cellOr(s.above.cells, col.index).text)
		here := trimCell(cellOr(filled, col.index).text)
		switch {
		case over == "" || isDitto(over):
		case isDitto(here):
			filled[col.index] = s.above.cells[col.index]
			told = append(told, repeated{col.index, here})
		case here == "" && col.Field == "machine" && s.goesOn(filled):
			for len(filled) <= col.index {
				filled = append(filled, xlsxCell{})
			}
			filled[col.index] = s.above.cells[col.index]
			told = append(told, repeated{col.index, ""})
		}
	}
	s.above = above{row: s.row, cells: filled}
	return filled, told
}

// goesOn reports whether a row without a machine is one more hose of the block:
// it names a position, and holds something else that is read.
func (s *Sheet) goesOn(cells []xlsxCell) bool {
	if s.Kind != register.ImportHoses {
		return false
	}
	position, others := false, false
	for _, col := range s.Columns {
		switch text := trimCell(cellOr(cells, col.index).text); {
		case col.Field == "" || nothing(text, false):
		case col.Field == "position":
			position = true
		default:
			others = true
		}
	}
	return position && others
}

// noteRepeated says what a row took from the one above.
func (s *Sheet) noteRepeated(row *register.ImportRow, told []repeated) {
	for _, r := range told {
		for i, col := range s.Columns {
			if col.index != r.column {
				continue
			}
			says := "empty; " + clipText(row.Cells[i]) + " of the row above is taken"
			if r.mark != "" {
				says = r.mark + " is read as the value above, " + clipText(row.Cells[i])
			}
			row.Notes = append(row.Notes, register.CellError{Column: col.Header, Value: clipText(r.mark), Sentence: says})
		}
	}
}

// refuseDitto refuses the mark that has nothing above it to repeat.
func (b *builder) refuseDitto(c cell) bool {
	if b.exported || !isDitto(c.text) || c.col.Field == "note" {
		return false
	}
	if c.col.Field == "assembly" {
		b.fail(c, "%s repeats the code above, but a code is one assembly's own; write its own, or leave the cell empty", c.text)
	} else {
		b.fail(c, "%s repeats the value above, but there is none in the row above; write it out", c.text)
	}
	return true
}

// loneText reports whether a row of hoses that names no machine holds nothing
// but one text: a heading between blocks or a count below one.
func (s *Sheet) loneText(row *register.ImportRow) (column int, lone bool) {
	if s.Kind != register.ImportHoses || !s.b.has["machine"] || row.Hose.Machine != "" || row.Hose.Code != "" || len(s.Columns) < 3 {
		return 0, false
	}
	column = -1
	for i, c := range row.Cells {
		if trimCell(c) == "" || s.Columns[i].Found == Ignored { // the reason of a row handed back
			continue
		}
		if column >= 0 {
			return 0, false
		}
		column = i
	}
	return column, column >= 0
}

// cellOr is the cell at i, an empty one behind the end of the row.
func cellOr(cells []xlsxCell, i int) xlsxCell {
	if i < len(cells) {
		return cells[i]
	}
	return xlsxCell{}
}

// isExported reports whether a sheet has all the columns of an export, under
// the export's headers: every cell of such a sheet says what it means, and a
// text that is nothing but a quotation mark is one.
func isExported(kind register.ImportKind, cols []Column) bool {
	want, have := 0, 0
	for _, f := range Fields(kind) {
		if f.write != nil {
			want++
		}
	}
	for _, c := range cols {
		if c.Field != "" && c.field.write != nil && c.Header == c.field.Title {
			have++
		}
	}
	return have == want
}
