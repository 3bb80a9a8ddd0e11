package server

import (
	"bytes"
	"encoding/json"
	"slices"
	"strings"
	"time"
	"unicode"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/web"
)

// thingKind is a table of the register in words.
type thingKind struct {
	Table string
	Path  string // in the address of its history
	One   string
}

// thingKinds are the tables whose rows the change log speaks of.
func thingKinds() []thingKind {
	return []thingKind{
		{"sites", "site", "site"},
		{"kinds", "kind", "kind of machine"},
		{"duties", "duty", "duty"},
		{"kind_positions", "usual-position", "usual position"},
		{"policies", "policy", "policy"},
		{"machines", "machine", "machine"},
		{"circuits", "circuit", "circuit"},
		{"positions", "position", "position"},
		{"assemblies", "assembly", "assembly"},
		{"placements", "placement", "placement"},
		{"removals", "removal", "removal"},
		{"conditions", "conditions", "service conditions"},
		{"readings", "reading", "reading"},
		{"meter_events", "meter-event", "meter event"},
		{"lay_ups", "lay-up", "lay-up"},
		{"inspections", "inspection", "inspection"},
		{"findings", "finding", "finding"},
		{"imports", "import", "import"},
		{"people", "", "person"},
		{"person_roles", "", "role"},
		{"tokens", "", "token"},
		{"invitations", "", "one-time address"},
		{"devices", "", "device"},
		{"credentials", "", "signing in"},
	}
}

// kindOfTable is a table in words; one that is not known speaks for itself.
func kindOfTable(table string) thingKind {
	for _, k := range thingKinds() {
		if k.Table == table {
			return k
		}
	}
	return thingKind{Table: table, One: strings.ReplaceAll(table, "_", " ")}
}

// changedField is one field of a row, before and after. Short says the same in
// few letters where it is long.
type changedField struct {
	Label, Before, After           string
	ShortBefore, ShortAfter, Whole string
}

// longText is from how many letters on a value is shortened.
const longText = 80

// changeWords puts changes into words for one person.
type changeWords struct {
	style web.Style
	names register.Names
	zone  *time.Location
}

// rawField is a key of a JSON object.
type rawField struct {
	name  string
	value json.RawMessage
}

// fieldsOf are the keys of a JSON object in their order; none of what is no
// object.
func fieldsOf(text string) []rawField {
	dec := json.NewDecoder(strings.NewReader(text))
	if t, err := dec.Token(); err != nil || t != json.Delim('{') {
		return nil
	}
	var out []rawField
	for dec.More() {
		key, err := dec.Token()
		name, ok := key.(string)
		if err != nil || !ok {
			return out
		}
		f := rawField{name: name}
		if dec.Decode(&f.value) != nil {
			return out
		}
		out = append(out, f)
	}
	return out
}

func valueOf(fields []rawField, name string) json.RawMessage {
	if i := slices.IndexFunc(fields, func(f rawField) bool { return f.name == name }); i >= 0 {
		return fields[i].value
	}
	return nil
}

// fields are the fields that a change made different: of what was added or
// deleted those that say something.
func (w changeWords) fields(c *register.Change) []changedField {
	before, after := fieldsOf(c.Before), fieldsOf(c.After)
	all := after
	if len(all) == 0 {
		all = before
	}
	level := string(bytes.Trim(valueOf(all, "Level"), `"`))
	var out []changedField
	for _, f := range all {
		if f.name == "ID" || f.name == "Version" {
			continue
		}
		was, is := valueOf(before, f.name), valueOf(after, f.name)
		if bytes.Equal(was, is) {
			continue
		}
		d := changedField{Label: fieldLabel(f.name), Before: w.value(f.name, level, was), After: w.value(f.name, level, is)}
		if d.Before != d.After {
			out = append(out, d.shortened())
		}
	}
	return out
}

func (d changedField) shortened() changedField {
	d.ShortBefore, d.ShortAfter = shortText(d.Before), shortText(d.After)
	if d.ShortBefore != d.Before || d.ShortAfter != d.After {
		d.Whole = d.After
		if d.Before != "" {
			d.Whole = "Before: " + d.Before + "\nAfter: " + d.After
		}
	}
	return d
}

func shortText(text string) string {
	if r := []rune(text); len(r) > longText {
		return string(r[:longText-1]) + "…"
	}
	return text
}

// value is a value of JSON as people read it; empty where it says nothing.
func (w changeWords) value(field, level string, raw json.RawMessage) string {
	var v any
	if len(raw) == 0 || json.Unmarshal(raw, &v) != nil {
		return ""
	}
	switch v := v.(type) {
	case bool:
		if v {
			return "yes"
		}
		return "no"
	case float64:
		return w.number(field, level, v)
	case string:
		return w.text(v)
	case []any:
		return w.list(field, raw)
	}
	return ""
}

func (w changeWords) number(field, level string, v float64) string {
	if table := tableOfField(field, level); table != "" {
		return w.named(table, int64(v))
	}
	switch {
	case strings.HasSuffix(field, "RatedBar") || field == "EndABar" || field == "EndBBar":
		return w.style.Rated(&v)
	case strings.HasSuffix(field, "Bar"):
		return w.style.Bar(&v)
	case field == "MaxC":
		return w.style.RatedCelsius(&v)
	case strings.HasSuffix(field, "C") && !strings.HasSuffix(field, "ID"):
		return w.style.Celsius(&v)
	case strings.HasSuffix(field, "MM"):
		return w.style.MM(&v)
	case field == "PlannedHoursPerWeek":
		return web.PerWeek(&v)
	case field == "Hours", field == "FromHours", field == "ToHours", field == "OldEnd", field == "NewStart":
		return web.Number(v, 2) + " h"
	case (field == "DN" || field == "Dash" || field == "Number") && v == 0:
		return ""
	}
	return web.Number(v, 4)
}

func (w changeWords) text(v string) string {
	if d, err := quantity.ParseDate(v); err == nil && d.String() == v {
		return w.style.Date(d)
	}
	if at, err := time.Parse(time.RFC3339Nano, v); err == nil {
		return w.when(at)
	}
	return v
}

// when is an instant in the zone of the words.
func (w changeWords) when(at time.Time) string {
	return w.style.Date(quantity.DateOf(at, w.zone)) + " " + at.In(w.zone).Format("15:04")
}

func (w changeWords) list(field string, raw json.RawMessage) string {
	var s register.Service
	switch {
	case field == "Cycles" && json.Unmarshal(raw, &s.Cycles) == nil:
		return strings.Join(cycleTexts(w.style, s), "; ")
	case field == "Temperatures" && json.Unmarshal(raw, &s.Temperatures) == nil:
		return strings.Join(temperatureTexts(w.style, s), ", ")
	}
	return string(raw)
}

// named is what people call a row.
func (w changeWords) named(table string, id int64) string {
	if n, ok := w.names.Of(table, id); ok {
		if n.Machine != "" {
			return n.Text + ", " + n.Machine
		}
		return n.Text
	}
	if id == 0 {
		return ""
	}
	return kindOfTable(table).One + " number " + intText64(id)
}

// tableOfField is the table to whose rows a field refers; empty if to none.
func tableOfField(field, level string) string {
	switch field {
	case "SiteID":
		return "sites"
	case "MachineID":
		return "machines"
	case "KindID":
		return "kinds"
	case "PolicyID":
		return "policies"
	case "CircuitID":
		return "circuits"
	case "PositionID":
		return "positions"
	case "AssemblyID":
		return "assemblies"
	case "InspectionID":
		return "inspections"
	case "PlacementID":
		return "placements"
	case "PersonID", "MadeBy":
		return "people"
	case "OwnerID":
		return level + "s"
	}
	return ""
}

// fieldLabel is what people call a field.
func fieldLabel(name string) string {
	switch name {
	case "CanHurt":
		return "a burst can hurt someone"
	case "GoneOn":
		return "left on"
	case "GoneReason":
		return "why it left"
	case "FluidC":
		return "fluid temperature"
	case "SurroundingsC":
		return "temperature of the surroundings"
	case "MaxC":
		return "highest temperature"
	case "On":
		return "day"
	case "From", "To", "By":
		return strings.ToLower(name)
	case "EndABar":
		return "rating of end A"
	case "EndBBar":
		return "rating of end B"
	case "RatedBar":
		return "rating"
	case "EndA":
		return "end A"
	case "EndB":
		return "end B"
	case "OldEnd":
		return "last shown by the old meter"
	case "NewStart":
		return "first shown by the new meter"
	case "OwnerID":
		return "holds for"
	case "Program":
		return "is a program"
	}
	for _, unit := range []string{"ID", "MM", "Bar"} {
		name = strings.TrimSuffix(name, unit)
	}
	return spaced(name)
}

// spaced puts spaces between the words of a name: WalkOrder is walk order.
func spaced(name string) string {
	var b strings.Builder
	r := []rune(name)
	for i, c := range r {
		if i > 0 && unicode.IsUpper(c) && !unicode.IsUpper(r[i-1]) {
			b.WriteByte(' ')
		}
		if unicode.IsUpper(c) && i+1 < len(r) && !unicode.IsUpper(r[i+1]) {
			c = unicode.ToLower(c)
		}
		b.WriteRune(c)
	}
	return b.String()
}

// subject is what a change is about in words: Machine RT-04.
func (w changeWords) subject(c *register.Change) string {
	kind := kindOfTable(c.Entity)
	text := strings.ToUpper(kind.One[:1]) + kind.One[1:]
	if name := w.ownName(c); name != "" {
		text += " " + name
	}
	if c.Entity != "assemblies" && c.AssemblyID != nil {
		if n, ok := w.names.Of("assemblies", *c.AssemblyID); ok && !strings.Contains(text, n.Text) {
			text += ", assembly " + n.Text
		}
	}
	if c.Entity != "machines" && c.MachineID != nil {
		if n, ok := w.names.Of("machines", *c.MachineID); ok {
			text += ", machine " + n.Text
		}
	}
	return text
}

// ownName is what a row is called, by what the change itself says of it.
func (w changeWords) ownName(c *register.Change) string {
	text := c.After
	if text == "" {
		text = c.Before
	}
	fields := fieldsOf(text)
	for _, name := range []string{"Code", "Name", "FileName", "Role", "On", "From", "SeenOn", "PositionID", "KindID"} {
		if s := w.value(name, "", valueOf(fields, name)); s != "" {
			switch name {
			case "On", "SeenOn":
				return "of " + s
			case "From":
				return "from " + s
			case "Role":
				return s + w.whose(fields)
			case "PositionID":
				return "at " + s
			case "KindID":
				return "of kind " + s
			}
			return s
		}
	}
	return strings.TrimPrefix(w.whose(fields), " ")
}

func (w changeWords) whose(fields []rawField) string {
	if s := w.value("PersonID", "", valueOf(fields, "PersonID")); s != "" {
		return " of " + s
	}
	return ""
}
