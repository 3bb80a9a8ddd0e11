package server

import (
	"strings"

	"github.com/labstack/echo/v4"

	"hoseward/internal/exchange"
	"hoseward/internal/register"
)

// sampleRows is how many rows the samples of columns are from.
const sampleRows = 3

// samples are the first values of each column.
func (s *Server) samples(c echo.Context, req *importRequest) ([]string, error) {
	sheet, err := s.openSheet(c, req)
	if err != nil {
		return nil, err
	}
	defer sheet.Close()
	samples := make([]string, len(sheet.Columns))
	if len(sheet.Missing) > 0 { // whoever says which column is missing has to see what is in them
		for _, cells := range sheet.FirstRows(sampleRows) {
			addSamples(samples, cells)
		}
		return samples, nil
	}
	for range sampleRows {
		row, err := sheet.Next()
		if err != nil {
			break // told by the report itself
		}
		addSamples(samples, row.Cells)
	}
	return samples, nil
}

// addSamples adds the cells of a row to what stands for each column.
func addSamples(samples, cells []string) {
	for i, cell := range cells {
		if cell = cleanText(cell); cell == "" || i >= len(samples) {
			continue
		}
		if r := []rune(cell); len(r) > 40 {
			cell = string(r[:40]) + "…"
		}
		if samples[i] != "" {
			samples[i] += " · "
		}
		samples[i] += cell
	}
}

// columnRows are the columns with the choice of their meaning.
func columnRows(info exchange.Info, samples []string) []columnRow {
	choice := meaningOptions(info.Kind)
	rows := make([]columnRow, len(info.Columns))
	for i, col := range info.Columns {
		value := asFound
		switch {
		case col.Found == exchange.Ignored:
			value = ignoreColumn
		case col.Found == exchange.Chosen:
			value = chosenValue(choice, col)
		}
		rows[i] = columnRow{
			Header: col.Header, Name: rowName("header", i), Samples: samples[i], Says: columnSays(info.Kind, col),
			Unread: col.Found == exchange.Unknown || col.Found == exchange.Duplicate,
			Choice: field{Name: rowName("meaning", i), Label: "Meaning of " + col.Header, Value: value, Options: choice},
		}
	}
	return rows
}

// chosenValue is the option of a column's field and unit, of its field alone
// where the unit is none of the options.
func chosenValue(choice []option, col exchange.Column) string {
	withUnit := col.Field + "@" + col.Unit
	for _, o := range choice {
		if o.Value == withUnit {
			return withUnit
		}
	}
	return col.Field
}

// columnSays says how a column is read.
func columnSays(kind register.ImportKind, col exchange.Column) string {
	title := func(name string) string {
		if f, ok := exchange.FieldNamed(kind, name); ok {
			return f.Title
		}
		return name
	}
	switch col.Found {
	case exchange.Ignored:
		return "left out"
	case exchange.Unknown:
		return "not known – not read"
	case exchange.Duplicate:
		return "not read: another column is " + title(col.Means) + " already"
	}
	says := title(col.Field)
	if col.Unit != "" && !strings.Contains(says, "("+col.Unit+")") {
		says += ", in " + col.Unit
	}
	if col.Found == exchange.Chosen {
		says += " (chosen)"
	}
	return says
}

// meaningOptions are what a column can mean in sheets of that kind.
func meaningOptions(kind register.ImportKind) []option {
	o := []option{{asFound, "as found"}, {ignoreColumn, "leave it out"}}
	units := map[exchange.Measure][]string{
		exchange.Pressures: {"psi", "MPa"}, exchange.Lengths: {"cm", "m", "in"}, exchange.Temperatures: {"°F"},
	}
	for _, f := range exchange.Fields(kind) {
		o = append(o, option{f.Name, f.Title})
		for _, unit := range units[f.Measure] {
			o = append(o, option{f.Name + "@" + unit, strings.TrimSuffix(f.Title, " (bar)") + ", in " + unit})
		}
	}
	return o
}
