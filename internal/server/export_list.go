package server

import (
	"math"
	"slices"

	"github.com/labstack/echo/v4"

	"hoseward/internal/exchange"
	"hoseward/internal/life"
	"hoseward/internal/register"
)

// title is the header an import reads as that field.
func title(kind register.ImportKind, name string) string {
	f, _ := exchange.FieldNamed(kind, name)
	return f.Title
}

// column is a column of a list.
func column[T any](header string, value func(T) any) exchange.ListColumn[T] {
	return exchange.ListColumn[T]{Header: header, Value: value}
}

// rounded is a number to some decimals, nil where there is none.
func rounded(v *float64, decimals int) any {
	if v == nil {
		return nil
	}
	p := math.Pow10(decimals)
	return math.Round(*v*p) / p
}

// knownNumber is a number, nothing where it is not known.
func knownNumber(n int) any {
	if n == 0 {
		return nil
	}
	return n
}

func dueColumns() []exchange.ListColumn[register.Line] {
	return []exchange.ListColumn[register.Line]{
		column("status", func(l register.Line) any { return string(l.Status) }),
		column("incomplete", func(l register.Line) any { return when(l.Incomplete(), "incomplete") }),
		column("act_by", func(l register.Line) any { return l.Estimate.ActBy }),
		column("act_by_is", func(l register.Line) any { return actByIs(l.Estimate) }),
		column("due", func(l register.Line) any { return l.Estimate.Due }),
		column("due_governed_by", func(l register.Line) any { return string(l.Estimate.Governing) }),
		column("earliest", func(l register.Line) any { return l.Estimate.Earliest }),
		column("latest", func(l register.Line) any { return l.Estimate.Latest }),
		column("used_percent", func(l register.Line) any { return percent(l.Estimate.Used) }),
		column("missing", func(l register.Line) any { return missing(l) }),
		column("site", func(l register.Line) any { return l.Site }),
		column("machine", func(l register.Line) any { return l.MachineCode }),
		column("machine_name", func(l register.Line) any { return l.MachineName }),
		column("circuit", func(l register.Line) any { return l.Circuit }),
		column("position", func(l register.Line) any { return l.Position }),
		column("assembly", func(l register.Line) any { return l.AssemblyCode }),
		column("designation", func(l register.Line) any { return l.Designation }),
		column("dn", func(l register.Line) any { return knownNumber(l.DN) }),
		column("dash", func(l register.Line) any { return knownNumber(l.Dash) }),
		column("rated_bar", func(l register.Line) any { return rounded(l.Estimate.RatedBar, 1) }),
		column("made", func(l register.Line) any { return l.Made }),
		column("assembled", func(l register.Line) any { return l.Assembled }),
		column("fitted", func(l register.Line) any { return l.Fitted }),
		column("last_inspected", func(l register.Line) any { return l.LastInspected }),
		column("inspection_due", func(l register.Line) any { return l.Estimate.InspectionDue }),
	}
}

func when(is bool, word string) string {
	if is {
		return word
	}
	return ""
}

// actByIs says which of its dates an assembly is to be acted on by: the
// governing clock is that of the likely date alone.
func actByIs(e register.Estimate) string {
	switch {
	case e.ActBy.IsZero():
		return ""
	case early(e):
		return "earliest"
	}
	return "due"
}

func percent(used *float64) any {
	if used == nil {
		return nil
	}
	p := *used * 100
	return rounded(&p, 1)
}

// dueFile is the due list with the same filters, whole.
func (s *Server) dueFile(c echo.Context) error {
	ctx, now := c.Request().Context(), s.deps.Now()
	sites, err := s.store(c).Sites(ctx)
	if err != nil {
		return wrap("list sites", err)
	}
	filter, form := dueFilter(c, sites)
	if err := firstProblem(form); err != nil {
		return err
	}
	filter.Limit, filter.Uncounted = exportAtOnce, true
	return sendList(s, c, "due", dueColumns(), pages(func(after string) ([]register.Line, string, error) {
		filter.After = after
		found, err := s.store(c).Lines(ctx, now, filter)
		return found.Lines, found.Next, err
	}))
}

// firstProblem refuses filters that cannot be meant: a file would not say that
// they were left out.
func firstProblem(f *form) error {
	if f.ok() {
		return nil
	}
	return &register.Error{Code: register.Invalid, Sentence: f.Problems[0].Sentence}
}

func machineColumns() []exchange.ListColumn[register.MachineLine] {
	of := func(name string, value func(*register.Machine) any) exchange.ListColumn[register.MachineLine] {
		return column(title(register.ImportMachines, name), func(l register.MachineLine) any { return value(&l.Machine) })
	}
	return []exchange.ListColumn[register.MachineLine]{
		column(title(register.ImportMachines, "site"), func(l register.MachineLine) any { return l.Site }),
		of("machine", func(m *register.Machine) any { return m.Code }),
		of("machine_name", func(m *register.Machine) any { return m.Name }),
		column(title(register.ImportMachines, "machine_kind"), func(l register.MachineLine) any { return l.Kind }),
		of("serial", func(m *register.Machine) any { return m.Serial }),
		of("planned_hours_per_week", func(m *register.Machine) any { return m.PlannedHoursPerWeek }),
		of("can_hurt", func(m *register.Machine) any { return m.CanHurt }),
		of("machine_note", func(m *register.Machine) any { return m.Note }),
		column("number_of_positions", func(l register.MachineLine) any { return l.Positions }),
		column("number_stop", func(l register.MachineLine) any { return l.Counts.Stop }),
		column("number_overdue", func(l register.MachineLine) any { return l.Counts.Overdue }),
		column("number_soon", func(l register.MachineLine) any { return l.Counts.Soon }),
		column("number_incomplete", func(l register.MachineLine) any { return l.Counts.Incomplete }),
		column("next_act_by", func(l register.MachineLine) any { return l.NextActBy }),
		column("last_reading_on", func(l register.MachineLine) any { return lastReading(l).On }),
		column("last_reading_h", func(l register.MachineLine) any {
			if l.LastReading == nil {
				return nil
			}
			return l.LastReading.Hours
		}),
	}
}

func lastReading(l register.MachineLine) register.Reading {
	if l.LastReading == nil {
		return register.Reading{}
	}
	return *l.LastReading
}

// machinesFile is the list of machines with the same filters, whole.
func (s *Server) machinesFile(c echo.Context) error {
	ctx, now := c.Request().Context(), s.deps.Now()
	filter := register.MachineFilter{Site: query(c, "site"), Kind: query(c, "kind"), Text: query(c, "text"), Limit: exportAtOnce}
	return sendList(s, c, "machines", machineColumns(), pages(func(after string) ([]register.MachineLine, string, error) {
		filter.After = after
		return s.store(c).MachineLines(ctx, now, filter)
	}))
}

// readingsFile is the readings and meter events of a machine, oldest first, as
// an import reads them.
func (s *Server) readingsFile(c echo.Context) error {
	code, err := param(c, "code")
	if err != nil {
		return err
	}
	sheet, err := s.store(c).MachineSheet(c.Request().Context(), s.deps.Now(), code)
	if err != nil {
		return wrap("list readings", err)
	}
	var columns []exchange.ListColumn[register.ReadingRow]
	for _, f := range []struct {
		name  string
		value func(register.ReadingRow) any
	}{
		{"machine", func(r register.ReadingRow) any { return r.Machine }},
		{"on", func(r register.ReadingRow) any { return r.On }},
		{"hours", func(r register.ReadingRow) any { return r.Hours }},
		{"new_start", func(r register.ReadingRow) any { return r.NewStart }},
		{"source", func(r register.ReadingRow) any { return r.Source }},
		{"disputed", func(r register.ReadingRow) any { return r.Disputed }},
		{"reading_note", func(r register.ReadingRow) any { return r.Note }},
	} {
		columns = append(columns, column(title(register.ImportReadings, f.name), f.value))
	}
	rows := readingRows(&sheet)
	return sendList(s, c, "readings", columns, pages(func(string) ([]register.ReadingRow, string, error) { return rows, "", nil }))
}

// readingRows puts the readings and meter events of a machine in order, an
// event before the readings of its day.
func readingRows(sheet *register.MachineSheet) []register.ReadingRow {
	var rows []register.ReadingRow
	for _, e := range sheet.MeterEvents {
		rows = append(rows, register.ReadingRow{Machine: sheet.Machine.Code, On: e.On, Hours: &e.OldEnd, NewStart: &e.NewStart, Note: e.Note})
	}
	for _, r := range slices.Backward(sheet.Readings) {
		rows = append(rows, register.ReadingRow{Machine: sheet.Machine.Code, On: r.On, Hours: &r.Hours, Source: r.Source, Disputed: &r.Disputed, Note: r.Note})
	}
	slices.SortStableFunc(rows, func(a, b register.ReadingRow) int { return a.On.Compare(b.On) })
	return rows
}

func assemblyColumns() []exchange.ListColumn[register.AssemblyLine] {
	of := func(name string, value func(*register.Assembly) any) exchange.ListColumn[register.AssemblyLine] {
		return column(title(register.ImportHoses, name), func(l register.AssemblyLine) any { return value(&l.Assembly) })
	}
	return []exchange.ListColumn[register.AssemblyLine]{
		of("assembly", func(a *register.Assembly) any { return a.Code }),
		column("status", func(l register.AssemblyLine) any { return string(l.Status) }),
		column("incomplete", func(l register.AssemblyLine) any { return when(l.Incomplete, "incomplete") }),
		column("act_by", func(l register.AssemblyLine) any { return l.ActBy }),
		column(title(register.ImportHoses, "site"), func(l register.AssemblyLine) any { return l.Site }),
		column(title(register.ImportHoses, "machine"), func(l register.AssemblyLine) any { return l.Machine }),
		column(title(register.ImportHoses, "position"), func(l register.AssemblyLine) any { return l.Position }),
		of("layline", func(a *register.Assembly) any { return a.Layline }),
		of("maker", func(a *register.Assembly) any { return a.Maker }),
		of("designation", func(a *register.Assembly) any { return a.Designation }),
		of("dn", func(a *register.Assembly) any { return knownNumber(a.DN) }),
		of("dash", func(a *register.Assembly) any { return knownNumber(a.Dash) }),
		of("rated_bar", func(a *register.Assembly) any { return a.RatedBar }),
		of("length_mm", func(a *register.Assembly) any { return a.LengthMM }),
		of("end_a", func(a *register.Assembly) any { return a.EndA }),
		of("end_b", func(a *register.Assembly) any { return a.EndB }),
		of("made", func(a *register.Assembly) any { return a.Made }),
		of("assembled", func(a *register.Assembly) any { return a.Assembled }),
		of("note", func(a *register.Assembly) any { return a.Note }),
		column("times_fitted", func(l register.AssemblyLine) any { return l.Placements }),
		column("scrapped_on", func(l register.AssemblyLine) any { return l.Assembly.ScrappedOn }),
		column("may_not_be_fitted", func(l register.AssemblyLine) any { return warningTexts(l.Warnings) }),
	}
}

func warningTexts(list []life.Warning) string {
	text := ""
	for i, w := range list {
		if i > 0 {
			text += " "
		}
		text += w.Text
	}
	return text
}

// assembliesFile is the list of assemblies with the same filters, whole.
func (s *Server) assembliesFile(c echo.Context) error {
	ctx, now := c.Request().Context(), s.deps.Now()
	filter, form := s.assemblyFilter(c)
	if err := firstProblem(form); err != nil {
		return err
	}
	filter.Limit = exportAtOnce
	return sendList(s, c, "assemblies", assemblyColumns(), pages(func(after string) ([]register.AssemblyLine, string, error) {
		filter.After = after
		found, err := s.store(c).Assemblies(ctx, now, filter)
		return found.Lines, found.Next, err
	}))
}

func positionColumns() []exchange.ListColumn[register.PositionLine] {
	of := func(name string, value func(register.PositionLine) any) exchange.ListColumn[register.PositionLine] {
		return column(title(register.ImportHoses, name), value)
	}
	return []exchange.ListColumn[register.PositionLine]{
		of("site", func(l register.PositionLine) any { return l.Site }),
		of("machine", func(l register.PositionLine) any { return l.MachineCode }),
		of("machine_name", func(l register.PositionLine) any { return l.MachineName }),
		of("machine_kind", func(l register.PositionLine) any { return l.Kind }),
		of("circuit", func(l register.PositionLine) any { return l.Circuit }),
		of("position", func(l register.PositionLine) any { return l.Name }),
		of("walk_order", func(l register.PositionLine) any { return l.WalkOrder }),
		of("can_hurt", func(l register.PositionLine) any { return l.CanHurt }),
		of("exposed", func(l register.PositionLine) any { return l.Exposed }),
		of("policy", func(l register.PositionLine) any { return l.Policy }),
		column("assembly_there", func(l register.PositionLine) any { return l.AssemblyCode }),
		column("its_designation", func(l register.PositionLine) any { return l.Designation }),
		column("status", func(l register.PositionLine) any { return string(l.Status) }),
		column("act_by", func(l register.PositionLine) any { return l.ActBy }),
	}
}

// positionsFile is the list of positions with the same filters, whole.
func (s *Server) positionsFile(c echo.Context) error {
	ctx, now := c.Request().Context(), s.deps.Now()
	filter, form := s.positionFilter(c)
	if err := firstProblem(form); err != nil {
		return err
	}
	filter.Limit = exportAtOnce
	return sendList(s, c, "positions", positionColumns(), pages(func(after string) ([]register.PositionLine, string, error) {
		filter.After = after
		found, err := s.store(c).Positions(ctx, now, filter)
		return found.Lines, found.Next, err
	}))
}
