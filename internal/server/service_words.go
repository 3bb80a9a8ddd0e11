package server

import (
	"strings"

	"hoseward/internal/register"
	"hoseward/web"
)

// serviceRow is one field of the service conditions in force, in words.
type serviceRow struct {
	register.ServiceValue
	Value string
}

// serviceRows puts service conditions in force into words, in a style.
func serviceRows(st web.Style, values []register.ServiceValue) []serviceRow {
	rows := make([]serviceRow, len(values))
	for i, v := range values {
		rows[i] = serviceRow{v, serviceText(st, v)}
	}
	return rows
}

// serviceText is what one field of service conditions says.
func serviceText(st web.Style, v register.ServiceValue) string {
	s := v.Said
	switch v.Field {
	case register.ServiceCycles:
		return cyclesText(st, s)
	case register.ServiceTemperature:
		if len(s.Temperatures) > 0 {
			return strings.Join(temperatureTexts(st, s), ", ")
		}
		return st.Celsius(s.FluidC)
	case register.ServiceSurroundings:
		return st.Celsius(s.SurroundingsC)
	case register.ServiceAlwaysHot:
		if s.AlwaysHot != nil && *s.AlwaysHot {
			return "yes"
		}
		return "no"
	case register.ServiceAdapter:
		return st.Rated(s.AdapterBar)
	case register.ServiceWorking:
		return st.Bar(s.WorkingBar)
	case register.ServiceAssessed:
		return st.Date(s.AssessedOn)
	}
	return web.Unknown
}

// cyclesText says how pressure works.
func cyclesText(st web.Style, s register.Service) string {
	switch {
	case len(s.Cycles) > 0:
	case s.NoCycles != nil && *s.NoCycles:
		return "none"
	default:
		return "not known"
	}
	text := strings.Join(cycleTexts(st, s), "; ")
	if s.Recorded != nil && *s.Recorded {
		text += " (recorded log)"
	}
	return text
}

// cycleTexts says each kind of cycle: 0 to 200 bar, 30 per hour.
func cycleTexts(st web.Style, s register.Service) []string {
	texts := make([]string, len(s.Cycles))
	for i, c := range s.Cycles {
		lowest, _, _ := strings.Cut(st.Bar(&c.MinBar), " ") // the unit stands behind the highest
		texts[i] = lowest + " to " + st.Bar(&c.MaxBar) + ", " + web.Number(c.Count, 3) + " per " + web.Or(c.Per, "hour")
	}
	return texts
}

// temperatureTexts says how long the fluid is how hot.
func temperatureTexts(st web.Style, s register.Service) []string {
	texts := make([]string, len(s.Temperatures))
	for i, t := range s.Temperatures {
		texts[i] = st.Celsius(&t.C) + " for " + web.Percent(&t.Share) + " of running time"
	}
	return texts
}

// serviceWords says what a row of service conditions says.
func serviceWords(st web.Style, v register.Service) []string {
	var says []string
	add := func(what string, value *float64, print func(*float64) string) {
		if value != nil {
			says = append(says, what+" "+print(value))
		}
	}
	add("fluid", v.FluidC, st.Celsius)
	add("surroundings", v.SurroundingsC, st.Celsius)
	if v.AlwaysHot != nil && *v.AlwaysHot {
		says = append(says, "surroundings hot around the clock")
	}
	says = append(says, temperatureTexts(st, v)...)
	add("working pressure", v.WorkingBar, st.Bar)
	add("adapter rated", v.AdapterBar, st.Rated)
	says = append(says, cycleTexts(st, v)...)
	if v.NoCycles != nil && *v.NoCycles {
		says = append(says, "no pressure cycles")
	}
	if v.Recorded != nil && *v.Recorded {
		says = append(says, "from a recorded pressure log")
	}
	if !v.AssessedOn.IsZero() {
		says = append(says, "working over rating assessed on "+st.Date(v.AssessedOn))
	}
	return says
}
