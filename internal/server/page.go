package server

import (
	"bytes"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"unicode"

	"github.com/labstack/echo/v4"

	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/web"
)

// Base is what every page shows: title block, menu, what was just done.
type Base struct {
	Title   string
	Section string // the entry of the menu that is current
	Site    string
	Machine string
	Today   quantity.Date
	Who     string // the person's name; empty where nobody is signed in
	Manages bool   // shows what managers do
	Notes   bool   // and who notes readings, at some site
	Imports bool   // and who imports, at some site
	May     may    // what they may do here
	Demo    bool
	Static  string // where static files are
	Done    string // what was just done, in one sentence; empty if nothing was
	Undo    bool   // what was just done can be undone
	Find    string // what the search box holds
	NoTLS   bool   // passwords can be read on their way; for who can change that
}

// base is the base of a page.
func (s *Server) base(c echo.Context, section, title string) Base {
	name, at, manages := "", "", false
	if who := s.caller(c); who != nil {
		name, at, manages = who.Person.Name, s.sitesSeen(c, who.Scope), s.has(c, register.RightManage)
	}
	return Base{
		Manages: manages,
		Notes:   s.has(c, register.RightNote),
		Imports: s.has(c, register.RightPlan),
		May:     s.mayAnywhere(c),
		Title:   title, Section: section, Site: at, Today: quantity.DateOf(s.deps.Now(), s.deps.Zone),
		Who: name, Demo: s.cfg.Demo, Static: s.static, Done: doneSentence(c.QueryParam("done")), Undo: undoOffered(c.QueryParam("done")),
		NoTLS: s.cfg.Clear && manages,
	}
}

// sitesSeen names the sites of a scope for the title block; empty where it is
// all of them, or where they cannot be read now.
func (s *Server) sitesSeen(c echo.Context, scope register.Scope) string {
	if scope.All {
		return ""
	}
	list, err := s.store(c).Sites(c.Request().Context())
	if err != nil {
		return ""
	}
	if len(list) > 3 {
		return web.Count(len(list), "site", "sites")
	}
	names := make([]string, len(list))
	for i := range list {
		names[i] = list[i].Name
	}
	return strings.Join(names, ", ")
}

// safetyLines are the lines under the one that stands above them on each page
// with dates: that visible damage beats any calculated remaining life.
func safetyLines() []string {
	return slices.DeleteFunc(life.SafetyLines(), func(s string) bool { return s == life.SafetyVisible })
}

// pageStructs names every page template and the struct it is rendered with; a
// test holds the one to the other.
func pageStructs() map[string]any {
	return map[string]any{
		"assemblies":    assembliesPage{},
		"account":       accountPage{},
		"acts":          actsPage{},
		"assembly_edit": hoseEditPage{},
		"finding":       findingPage{},
		"fit":           fitPage{},
		"found":         foundPage{},
		"remove":        removePage{},
		"undo":          undoPage{},
		"assembly":      assemblyPage{},
		"choose":        choosePage{},
		"due":           duePage{},
		"error":         errorPage{},
		"hose":          hosePage{},
		"import":        importPage{},
		"import_report": importReportPage{},
		"inspection":    inspectionPage{},
		"jobs":          jobsPage{},
		"changes":       changesPage{},
		"history":       historyPage{},
		"list":          listsPage{},
		"machine":       machinePage{},
		"form":          formPage{},
		"kind":          kindPage{},
		"kinds":         kindsPage{},
		"order":         orderPage{},
		"sign_in":       signInPage{},
		"sign_in_first": signInFirstPage{},
		"sites":         sitesPage{},
		"machines":      machinesPage{},
		"manual":        manualPage{},
		"me":            mePage{},
		"once":          oncePage{},
		"people":        peoplePage{},
		"person":        personPage{},
		"policies":      policiesPage{},
		"positions":     positionsPage{},
		"reading":       readingPage{},
		"register":      registerPage{},
		"search":        searchPage{},
		"start":         startPage{},
		"swap":          swapPage{},
		"tables":        tablesPage{},
		"today":         todayPage{},
		"unknown":       unknownPage{},
		"yard":          yardPage{},
	}
}

// render renders a page into memory, in the units of the person, and sends it
// whole.
func (s *Server) render(c echo.Context, status int, name string, page any) error {
	t, err := s.pages.Page(name, s.style(c))
	if err != nil {
		return fmt.Errorf("render page %s: %w", name, err)
	}
	var b bytes.Buffer
	if err := t.Execute(&b, page); err != nil {
		return fmt.Errorf("render page %s: %w", name, err)
	}
	return c.HTMLBlob(status, b.Bytes())
}

// show renders a page with status 200.
func (s *Server) show(c echo.Context, name string, page any) error {
	return s.render(c, http.StatusOK, name, page)
}

// The things a page can say were just done.
const (
	machineAdded    = "machine-added"
	hoseAdded       = "hose-added"
	readingNoted    = "reading-noted"
	inspectionNoted = "inspection-noted"
	inspectionStop  = "inspection-stop"
	inspectionKnown = "inspection-known"
	importUndone    = "import-undone"
	importAnew      = "import-anew"
	registerTaken   = "register-taken"
	unitsSet        = "units-set"
)

// doneSentence is the sentence of a word in ?done=; the words are a closed
// list, so that no link can put a sentence of its own on a page.
func doneSentence(word string) string {
	switch word {
	case machineAdded:
		return "The machine is in the register. Next, add the hoses at its positions."
	case hoseAdded:
		return "The hose is in the register and its date is worked out."
	case readingNoted:
		return "The reading is noted and the dates of this machine are worked out anew."
	case inspectionNoted:
		return "The inspection is noted."
	case inspectionStop:
		return "The inspection is noted. What was found forbids working: take the machine out of service now, depressurise it, and mark it so that nobody starts it until the hose is replaced."
	case inspectionKnown:
		return "This very inspection was in the register already; nothing was added."
	case unitsSet:
		return "Pages print in these units for you from now on."
	case importAnew:
		return "You changed how the sheet is read, so nothing was taken. This is what taking it would do now."
	case registerTaken:
		return "The register is taken as it was exported; its dates are worked out now."
	case importUndone:
		return "The import is undone: what it added is gone, what it changed is as before."
	}
	return web.Or(placeDone(word), web.Or(personDone(word), web.Or(listDone(word), storyDone(word))))
}

// done sends the browser on to an address, with a word for what was done, so
// that reloading does not do it again.
func done(c echo.Context, address, word string) error {
	return c.Redirect(http.StatusSeeOther, address+"?done="+url.QueryEscape(word))
}

// param is a segment of the path as it was before it was escaped. Text that no
// register can hold is not found.
func param(c echo.Context, name string) (string, error) {
	v, err := url.PathUnescape(c.Param(name))
	if err != nil || v != cleanText(v) {
		return "", echo.ErrNotFound
	}
	return v, nil
}

// cleanText is what can be looked for of a text from the address: valid
// letters, no control characters, at most 200 of them, no space around.
func cleanText(s string) string {
	s = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || r == unicode.ReplacementChar {
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, ""))
	if r := []rune(s); len(r) > 200 {
		s = string(r[:200])
	}
	return strings.TrimSpace(s)
}

// query is a text of the query, cleaned.
func query(c echo.Context, name string) string { return cleanText(c.QueryParam(name)) }

// address is a path with a query of the values that are not empty.
func address(path string, pairs ...string) string {
	q := url.Values{}
	for i := 0; i+1 < len(pairs); i += 2 {
		if pairs[i+1] != "" {
			q.Set(pairs[i], pairs[i+1])
		}
	}
	if len(q) == 0 {
		return path
	}
	return path + "?" + q.Encode()
}
