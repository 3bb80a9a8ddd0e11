package server

import (
	"context"
	"errors"
	"io"
	"iter"
	"os"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"hoseward/internal/exchange"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// exportStore is what files of the register ask of it.
type exportStore interface {
	Whole(ctx context.Context, f func(register.WholeRow) error) error
	TakeWhole(ctx context.Context, now time.Time, by register.Actor, src register.WholeSource) (register.WholeReport, error)
	WholeCounts(ctx context.Context) (map[register.WholePart]int, error)
}

// exportRoutes are lists and the register as files.
func (s *Server) exportRoutes() []route {
	return []route{
		{get, "/due.csv", register.RightSee, s.dueFile},
		{get, "/due.xlsx", register.RightSee, s.dueFile},
		{get, "/machines.csv", register.RightSee, s.machinesFile},
		{get, "/machines.xlsx", register.RightSee, s.machinesFile},
		{get, "/machines/:code/readings.csv", register.RightSee, s.readingsFile},
		{get, "/machines/:code/readings.xlsx", register.RightSee, s.readingsFile},
		{get, "/assemblies.csv", register.RightSee, s.assembliesFile},
		{get, "/assemblies.xlsx", register.RightSee, s.assembliesFile},
		{get, "/positions.csv", register.RightSee, s.positionsFile},
		{get, "/positions.xlsx", register.RightSee, s.positionsFile},
		{get, "/register", register.RightSee, s.registerPage},
		{get, "/register.xlsx", register.RightManage, s.everywhere(s.registerFile)},
		{get, "/register.json", register.RightManage, s.everywhere(s.registerFile)},
	}
}

// listFiles are the addresses of a list as a file.
type listFiles struct{ CSV, XLSX string }

// filesOf are the files of the list at an address: its filters hold for them.
func filesOf(address string) listFiles {
	path, query, some := strings.Cut(address, "?")
	if some {
		query = "?" + query
	}
	return listFiles{path + ".csv" + query, path + ".xlsx" + query}
}

// Files are the list as files.
func (v listView) Files() listFiles { return filesOf(v.Keep) }

// formatOf is the format a file is asked for in, by the end of its address.
func formatOf(c echo.Context) exchange.Format {
	path := c.Request().URL.Path
	for _, f := range []exchange.Format{exchange.XLSX, exchange.JSON} {
		if strings.HasSuffix(path, "."+string(f)) {
			return f
		}
	}
	return exchange.CSV
}

// sendList sends all rows of a list as a file, CSV or XLSX as the address of
// the request ends. name begins the name of the file and is the sheet's. Where
// rows fails before its first row the answer is an error, later the file breaks
// off.
func sendList[T any](s *Server, c echo.Context, name string, columns []exchange.ListColumn[T], rows iter.Seq2[T, error]) error {
	next, stop := iter.Pull2(rows)
	defer stop()
	first, err, some := next()
	if some && err != nil {
		return wrap("list "+name, err)
	}
	format := formatOf(c)
	head, err := s.store(c).ChainHead(c.Request().Context())
	if err != nil {
		return wrap("list "+name, err)
	}
	s.attach(c, name, format)
	return exchange.WriteList(c.Response(), format, name, head, columns, func(yield func(T, error) bool) {
		for row, err, ok := first, err, some; ok; row, err, ok = next() {
			if !yield(row, err) {
				return
			}
		}
	})
}

// attach names the file an answer is, with today's date.
func (s *Server) attach(c echo.Context, name string, format exchange.Format) {
	h := c.Response().Header()
	h.Set("Content-Type", format.MediaType())
	day := quantity.DateOf(s.deps.Now(), s.deps.Zone).String()
	h.Set("Content-Disposition", `attachment; filename="`+name+"-"+day+"."+string(format)+`"`)
}

// exportAtOnce is how many rows a list that goes out asks of the register at a
// time.
const exportAtOnce = 1000

// pages are the rows of a list that comes page by page, all of them: ask gives
// the page behind a cursor and the cursor of the next, empty on the last.
func pages[T any](ask func(after string) (rows []T, next string, err error)) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		after := ""
		for {
			rows, next, err := ask(after)
			if err != nil {
				var none T
				yield(none, err)
				return
			}
			for _, r := range rows {
				if !yield(r, nil) {
					return
				}
			}
			if next == "" {
				return
			}
			after = next
		}
	}
}

// registerPage says what the register holds, and offers it as a file.
type registerPage struct {
	Base
	Parts []partCount // none for whoever does not see all sites
	Empty bool
	Whole bool // whoever reads it may take it
}

type partCount struct {
	Name string
	N    int
}

func (s *Server) registerPage(c echo.Context) error {
	page := registerPage{Base: s.base(c, "import", "The whole register"), Whole: s.hasAt(c, 0, register.RightManage)}
	if !s.hasAt(c, 0, register.RightSee) {
		return s.show(c, "register", page)
	}
	counts, err := s.store(c).WholeCounts(c.Request().Context())
	if err != nil {
		return wrap("count the register", err)
	}
	page.Empty = counts[register.PartSites]+counts[register.PartMachines]+counts[register.PartAssemblies] == 0
	for _, part := range register.WholeParts() {
		page.Parts = append(page.Parts, partCount{partName(part), counts[part]})
	}
	return s.show(c, "register", page)
}

// partName is what people call a part.
func partName(part register.WholePart) string {
	switch part {
	case register.PartPolicies:
		return "policies of your own"
	case register.PartKinds:
		return "kinds of machines"
	case register.PartKindPositions:
		return "usual positions of kinds"
	case register.PartPlacements:
		return "placements, with their removals"
	case register.PartConditions:
		return "service conditions"
	}
	return strings.ReplaceAll(strings.ReplaceAll(string(part), "lay_ups", "lay-ups"), "_", " ")
}

// registerFile sends the whole register.
func (s *Server) registerFile(c echo.Context) error {
	format := formatOf(c)
	head, err := s.store(c).ChainHead(c.Request().Context())
	if err != nil {
		return wrap("send the register", err)
	}
	w, err := exchange.NewWholeWriter(c.Response(), format, head)
	if err != nil {
		return err
	}
	s.attach(c, "register", format)
	if err := s.store(c).Whole(c.Request().Context(), w.Write); err != nil {
		return wrap("send the register", err)
	}
	return w.Close()
}

// takeRegister takes a kept upload that is a whole register. ok is false where
// it is none; what is refused is told at the file of the form.
func (s *Server) takeRegister(c echo.Context, id string, f *form) (ok bool, err error) {
	_, file, err := s.deps.Uploads.Open(id)
	if err != nil {
		return false, wrap("open upload", err)
	}
	defer file.Close()
	size, err := file.Seek(0, io.SeekEnd)
	if err != nil {
		return false, wrap("measure upload", err)
	}
	if !exchange.IsWhole(file, size) {
		return false, nil
	}
	err = s.takeFile(c, file, size)
	if refusal := asRegisterError(err); refusal != nil {
		f.wrong("file", refusal.Sentence)
		return true, nil
	}
	return true, err
}

func (s *Server) takeFile(c echo.Context, file *os.File, size int64) (err error) {
	src, err := exchange.OpenWhole(file, size)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, src.Close()) }()
	report, err := s.store(c).TakeWhole(c.Request().Context(), s.deps.Now(), s.actor(c), src)
	s.nudge(report.Stale)
	return err
}
