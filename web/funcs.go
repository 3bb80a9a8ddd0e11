package web

import (
	"fmt"
	"html/template"
	"net/url"
	"strings"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
)

// Unknown is what stands where nothing is known; None where nothing belongs.
const (
	Unknown = "unknown"
	None    = "–"
)

// Funcs is what templates of pages and mails may call; it prints in a style.
func Funcs(s Style) template.FuncMap {
	return template.FuncMap{
		"path":         Path,
		"date":         s.Date,
		"dayOf":        s.DayOf,
		"period":       s.Period,
		"bar":          s.Bar,
		"rated":        s.Rated,
		"celsius":      s.Celsius,
		"ratedCelsius": s.RatedCelsius,
		"mm":           s.MM,
		"band":         s.Band,
		"hours":        Hours,
		"perWeek":      PerWeek,
		"percent":      Percent,
		"number":       Number,
		"count":        Count,
		"distance":     Distance,
		"size":         Size,
		"statusClass":  StatusClass,
		"statusText":   StatusText,
		"classText":    ClassText,
		"clockMeaning": ClockMeaning,
		"or2":          Or,
	}
}

// Path is an address on this server of the given segments, each escaped:
// Path("machines", "A/1") is /machines/A%2F1.
func Path(segments ...string) string {
	var b strings.Builder
	for _, s := range segments {
		b.WriteByte('/')
		b.WriteString(url.PathEscape(s))
	}
	return b.String()
}

// Date, Period, Bar, Celsius and MM print in the zero Style: for mails, and
// where there is no person to print for.
func Date(d quantity.Date) string { return Style{}.Date(d) }

// Period is Style.Period in the zero Style.
func Period(p quantity.Period) string { return Style{}.Period(p) }

// Bar is Style.Bar in the zero Style.
func Bar(v *float64) string { return Style{}.Bar(v) }

// Celsius is Style.Celsius in the zero Style.
func Celsius(v *float64) string { return Style{}.Celsius(v) }

// MM is Style.MM in the zero Style.
func MM(v *float64) string { return Style{}.MM(v) }

// Hours prints running hours in whole hours.
func Hours(v *float64) string {
	if v == nil {
		return Unknown
	}
	return Number(*v, 0) + " h"
}

// PerWeek prints running hours per week.
func PerWeek(v *float64) string {
	if v == nil {
		return Unknown
	}
	return Number(*v, 1) + " h a week"
}

// Percent prints a share, 1 being 100 %: whole per cent, tenths below 10 %,
// "over 999 %" where more digits would say nothing. Less than all is never
// printed as 100 %.
func Percent(v *float64) string {
	switch {
	case v == nil:
		return Unknown
	case *v > 9.99:
		return "over 999 %"
	case *v > 0 && *v < 0.001:
		return "under 0.1 %"
	case *v > 0.99 && *v < 1: // not all of it
		return "99 %"
	case *v < 0.0995:
		return Number(*v*100, 1) + " %"
	}
	return Number(*v*100, 0) + " %"
}

// Number prints v with at most the given decimals, thousands set apart by a
// narrow space from 10 000 up.
func Number(v float64, decimals int) string {
	s := quantity.FormatNumber(v, decimals)
	whole, fraction, _ := strings.Cut(s, ".")
	sign := ""
	if strings.HasPrefix(whole, "-") {
		sign, whole = "-", whole[1:]
	}
	if len(whole) > 4 {
		for i := len(whole) - 3; i > 0; i -= 3 {
			whole = whole[:i] + "\u202f" + whole[i:]
		}
	}
	if fraction != "" {
		whole += "." + fraction
	}
	return sign + whole
}

// Count prints a number with its thing: 1 hose, 2 hoses.
func Count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return Number(float64(n), 0) + " " + many
}

// Distance says how far a day is from today: today, in 12 days, 3 days ago,
// in 4 months, in 3 years 9 months, 12 years ago. It is empty for no date.
func Distance(d, today quantity.Date) string {
	if d.IsZero() || today.IsZero() {
		return ""
	}
	n := d.Sub(today)
	if n == 0 {
		return "today"
	}
	away := max(n, -n)
	text := Count(away, "day", "days")
	switch {
	case away >= 3652:
		text = Count(away*100/36525, "year", "years")
	case away >= 731:
		months := away * 1200 / 36525
		if text = Count(months/12, "year", "years"); months%12 > 0 {
			text += " " + Count(months%12, "month", "months")
		}
	case away >= 90:
		text = Count(away*100/3044, "month", "months")
	}
	if n > 0 {
		return "in " + text
	}
	return text + " ago"
}

// Band is Style.Band in the zero Style.
func Band(earliest, latest quantity.Date) string { return Style{}.Band(earliest, latest) }

// Size prints a hose size by DN and dash; either may be 0, meaning unknown.
func Size(dn, dash int) string {
	switch {
	case dn > 0 && dash > 0:
		return fmt.Sprintf("DN %d (-%d)", dn, dash)
	case dn > 0:
		return fmt.Sprintf("DN %d", dn)
	case dash > 0:
		return fmt.Sprintf("size -%d", dash)
	}
	return "size unknown"
}

// StatusClass is the class that gives a status its outline.
func StatusClass(s life.Status) string {
	return "status status-" + strings.ReplaceAll(string(s), " ", "-")
}

// StatusText says what a status means and what to do.
func StatusText(s life.Status) string {
	switch s {
	case life.StatusStop:
		return "An inspection found damage that forbids working. Take the machine out of service and replace the hose."
	case life.StatusOverdue:
		return "The date has passed. Replace the hose."
	case life.StatusSoon:
		return "Due within 30 days. Order or build the hose and plan the swap."
	case life.StatusAhead:
		return "Due within 31 to 90 days."
	case life.StatusInService:
		return "Not due within 90 days."
	case life.StatusInStore:
		return "Not fitted to a machine."
	case life.StatusRemoved:
		return "Taken off and scrapped."
	}
	return ""
}

// ClassText says what the class of a finding asks for.
func ClassText(c life.Class) string {
	switch c {
	case life.Stop:
		return "stop – do not work with it"
	case life.Replace:
		return "replace – by a date, 30 days if none is given"
	case life.Correct:
		return "correct – put right, then keep in use"
	case life.Watch:
		return "watch – look again earlier"
	case life.Sound:
		return "sound – nothing found"
	}
	return string(c)
}

// ClockMeaning says in one sentence what runs a clock.
func ClockMeaning(c life.ClockName) string {
	switch c {
	case life.ConditionClock:
		return "Counts what inspections found and nobody has closed."
	case life.RatingClock:
		return "Spent as soon as the hose is worked above its rating."
	case life.CalendarClock:
		return "Counts time since the hose was made, assembled or first fitted."
	case life.HeatClock:
		return "Counts the same time faster while the hose runs hot."
	case life.HoursClock:
		return "Counts running hours since first fitting."
	case life.PressureClock:
		return "Adds pressure cycles up as fatigue damage."
	case life.CombinedClock:
		return "Adds the used shares of heat and pressure."
	}
	return ""
}

// Or is text, or other where text is empty.
func Or(text, other string) string {
	if strings.TrimSpace(text) == "" {
		return other
	}
	return text
}
