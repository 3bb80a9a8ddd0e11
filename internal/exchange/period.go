package exchange

import (
	"math"
	"strconv"
	"strings"

	"hoseward/internal/hose"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// dayZero is the day that spreadsheets count days from.
type dayZero quantity.Date

// The two ways workbooks count days. Day 60 of the first is a 29 February 1900
// that never was, so numbers from 61 up count from 1899-12-30 (ECMA-376 part 1,
// 18.17.4.1).
var (
	from1900 = dayZero(mustDay(1899, 12, 30))
	from1904 = dayZero(mustDay(1904, 1, 1))
)

func mustDay(y, m, d int) quantity.Date {
	day, err := quantity.NewDate(y, m, d)
	if err != nil {
		panic(err)
	}
	return day
}

// firstDay is the earliest day taken for one in a list of hoses.
var firstDay = mustDay(1950, 1, 1)

// The day numbers that are taken for days: 1980 to 2079. Smaller numbers of
// five digits can be a maker's code of year and day.
var serialFrom, serialTo = mustDay(1980, 1, 1), mustDay(2079, 12, 31)

// serialDay is the day that a workbook keeps as a number.
func serialDay(v float64, zero dayZero) (quantity.Date, bool) {
	if !(v >= 1 && v < 1e5) {
		return quantity.Date{}, false
	}
	d := quantity.Date(zero).AddDays(int(math.Floor(v)))
	return d, !d.Before(serialFrom) && !d.After(serialTo)
}

// period reads a date cell. With mark set the cell may hold a code as printed
// on a hose or stamped on an assembly, which can have several readings.
func (b *builder) period(c cell, mark hose.Kind) (p quantity.Period, ambiguous, ok bool) {
	if c.number != nil {
		if d, isDay := serialDay(*c.number, c.days); isDay {
			return b.keptDay(c, d)
		}
	}
	if p, ok := namedYear(c.text); ok {
		return p, false, b.plausible(c, p)
	}
	if mark != "" {
		code, err := hose.ReadDateCode(c.text, mark, b.today)
		if err != nil {
			return b.countedDay(c, err)
		}
		for _, n := range code.Notes {
			b.note(c, "%s", n)
		}
		return code.Made, code.Ambiguous, b.plausible(c, code.Made)
	}
	p, err := quantity.ParsePeriod(c.text)
	if err != nil {
		return b.countedDay(c, err)
	}
	return p, false, b.plausible(c, p)
}

// keptDay is a day that a workbook keeps as a number and shows in some format:
// one that shows only month and year means the month.
func (b *builder) keptDay(c cell, d quantity.Date) (quantity.Period, bool, bool) {
	shown, err := quantity.ParsePeriod(c.text)
	if err == nil && shown.Precision != quantity.ToDay && !d.Before(shown.From) && !d.After(shown.To) {
		return shown, false, true
	}
	if _, err := strconv.ParseFloat(c.text, 64); err != nil && !strings.Contains(c.text, strconv.Itoa(d.Year()%100)) {
		b.fail(c, "the spreadsheet keeps %s here and shows it without its year: it has taken a date code for a day; type it again as text", d)
		return quantity.Period{}, false, false
	}
	return quantity.Day(d), false, true
}

// countedDay reads the day numbers that sheets leave behind when they are
// saved as text, and says so; err is what else is wrong with the cell.
func (b *builder) countedDay(c cell, err error) (quantity.Period, bool, bool) {
	if n, numErr := strconv.Atoi(c.text); numErr == nil && len(c.text) == 5 {
		if d, isDay := serialDay(float64(n), from1900); isDay {
			b.note(c, "%s is read as the spreadsheet's number of the day %s", c.text, d)
			return quantity.Day(d), false, true
		}
	}
	b.fail(c, "%v", err)
	return quantity.Period{}, false, false
}

// namedYear reads "year 2004", as the export writes a year, since 2004 alone
// can also be a code of year and month.
func namedYear(s string) (quantity.Period, bool) {
	word, number, _ := strings.Cut(strings.ToLower(s), " ")
	if word != "year" && word != "jahr" {
		return quantity.Period{}, false
	}
	y, err := strconv.Atoi(strings.TrimSpace(number))
	if err != nil {
		return quantity.Period{}, false
	}
	p, err := quantity.CalendarYear(y)
	return p, err == nil
}

func (b *builder) plausible(c cell, p quantity.Period) bool {
	if p.From.Before(firstDay) || p.From.Year() > 2149 {
		b.fail(c, "%s lies outside 1950 to 2149; check the year", p)
		return false
	}
	return true
}

// printPeriod prints a period so that it reads back as the same and nothing
// else: a year as "year 2004".
func printPeriod(p quantity.Period) string {
	if p.Precision == quantity.ToYear {
		return "year " + strings.TrimPrefix(p.String(), "year ")
	}
	return p.String()
}

// dateField is a field that needs a day; of a month the first is taken and
// said, except for a reading, whose day counts.
func dateField(name, title string, kinds []register.ImportKind, list, help string, at func(*register.ImportRow) *quantity.Date) Field {
	return Field{
		Name: name, Title: title, Kinds: kinds, Words: words(list), Help: help, date: true,
		read: func(b *builder, c cell) {
			p, _, ok := b.period(c, "")
			switch {
			case !ok:
			case p.Precision == quantity.ToDay:
				*at(b.row) = b.notAhead(c, p.From)
			case b.row.Reading != nil:
				b.fail(c, "%q names no day; a reading needs the day it was taken", clipText(c.text))
			default:
				b.note(c, "%s names no day, %s is taken", clipText(c.text), p.From)
				*at(b.row) = b.notAhead(c, p.From)
			}
		},
		write: func(r *register.ImportRow) string { return at(r).String() },
	}
}

// notAhead refuses a day that has not come yet, where today is known.
func (b *builder) notAhead(c cell, d quantity.Date) quantity.Date {
	if StillToCome(d, b.today) {
		b.fail(c, "%s is still to come; check the date", d)
	}
	return d
}

// readFitted reads the fit date, which may be known to the month only.
func readFitted(b *builder, c cell) {
	p, _, ok := b.period(c, "")
	if !ok {
		return
	}
	b.notAhead(c, p.From)
	b.row.Hose.Fitted = p
	if p.Precision != quantity.ToDay && !b.has["fitted_text"] {
		b.row.Hose.FittedText = c.text
	}
}

// codeDateField is the date a hose or an assembly was made, as typed or as
// printed on it.
func codeDateField(name, title, list, help string, assembly bool) Field {
	mark := hose.Bulk
	if assembly {
		mark = hose.Assembly
	}
	at := func(r *register.ImportRow) *quantity.Period {
		if assembly {
			return &r.Hose.Assembled
		}
		return &r.Hose.Made
	}
	return Field{
		Name: name, Title: title, Kinds: inHoses, Words: words(list), Help: help, date: true,
		read: func(b *builder, c cell) {
			p, ambiguous, ok := b.period(c, mark)
			if !ok {
				return
			}
			b.notAhead(c, p.From)
			*at(b.row) = p
			text := &b.row.Hose.MadeText
			if assembly {
				text = &b.row.Hose.AssembledText
			}
			if !b.has[name+"_text"] && p.Precision != quantity.ToDay {
				*text = c.text
			}
			if !assembly && ambiguous && !b.has["made_ambiguous"] {
				b.row.Hose.MadeAmbiguous = &ambiguous
			}
		},
		write: func(r *register.ImportRow) string { return printPeriod(*at(r)) },
	}
}
