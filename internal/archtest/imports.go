package archtest

import (
	"fmt"
	"path"
	"slices"
	"sort"
	"strings"
)

// The arrows: a package may import those its line names, and nothing else of
// ours. "*" at the end stands for everything below, "..." alone for anything.
// Where a package below another has no line of its own, it has that one's.
var arrows = map[string][]string{
	"internal/quantity":      {},
	"internal/hose":          {"internal/quantity"},
	"internal/life":          {"internal/hose", "internal/quantity", "internal/life/*"},
	"internal/life/fatigue":  {"internal/quantity"},
	"internal/life/heat":     {"internal/quantity"},
	"internal/life/usage":    {"internal/quantity"},
	"internal/life/survival": {"internal/quantity"},
	"internal/register":      {"internal/life", "internal/life/*", "internal/hose", "internal/quantity"},
	"internal/notice":        core("internal/register"),
	"internal/exchange":      {"internal/register", "internal/life", "internal/life/*", "internal/hose", "internal/quantity"},
	"internal/paper":         core("internal/register"),
	"internal/demo":          core("internal/register"),
	"internal/files":         {},
	"internal/chart":         {},
	"internal/config":        {},
	"internal/backup":        {"internal/register", "internal/quantity"},
	"internal/feed":          {"internal/exchange", "internal/register", "internal/quantity"},
	"internal/store":         core("internal/register", "internal/notice", "migrations"),
	"internal/mail":          core("internal/register", "internal/notice", "web"),
	"internal/server": core("internal/register", "internal/notice", "internal/exchange", "internal/paper", "internal/chart",
		"internal/life/*", "web", "internal/server/*"),
	"jobs":              {"internal/register", "internal/notice", "internal/quantity"},
	"web":               {"internal/quantity", "internal/life"},
	"migrations":        {},
	"cmd":               {"..."},
	"internal/testkit":  {"..."},
	"internal/archtest": {"..."},
}

// core is quantity, hose and life with what else is named.
func core(more ...string) []string {
	return append([]string{"internal/life", "internal/hose", "internal/quantity"}, more...)
}

// lineOf finds the line of the table for a folder.
func lineOf(dir string) (of string, allowed []string, ok bool) {
	for d := dir; d != "."; d = path.Dir(d) {
		if allowed, ok := arrows[d]; ok {
			return d, allowed, true
		}
	}
	return "", nil, false
}

func covers(pattern, dir string) bool {
	if below, all := strings.CutSuffix(pattern, "*"); all {
		return strings.HasPrefix(dir, below)
	}
	return pattern == "..." || pattern == dir
}

// checkImports holds each file to its package's line. Tests in package x_test
// may import anything; only they may import testkit and archtest.
func checkImports(t *Tree) []string {
	var bad []string
	for _, g := range t.Go {
		of, allowed, ok := lineOf(g.Dir)
		if !ok {
			bad = append(bad, fmt.Sprintf("%s: %s has no line in the table of arrows", g.Path, g.Dir))
			continue
		}
		if g.Test && g.Outside || of == "internal/testkit" || of == "internal/archtest" {
			continue
		}
		for _, p := range sorted(g.Imports) {
			dir, ours := strings.CutPrefix(p, Module+"/")
			if !ours || dir == g.Dir {
				continue
			}
			if dir == "internal/testkit" || dir == "internal/archtest" {
				bad = append(bad, fmt.Sprintf("%s imports %s; only tests in a package x_test may", g.Path, dir))
				continue
			}
			if !slices.ContainsFunc(allowed, func(a string) bool { return covers(a, dir) }) {
				bad = append(bad, fmt.Sprintf("%s imports %s; there is no arrow from %s to it", g.Path, dir, of))
			}
		}
	}
	return bad
}

func sorted(imports map[string]string) []string {
	var all []string
	for _, p := range imports {
		all = append(all, p)
	}
	sort.Strings(all)
	return all
}

// homes are the folders in which each library may be imported, with all below
// them. A library not named here has no home yet.
var homes = map[string][]string{
	"gorm.io":                             {"internal/store"},
	"modernc.org":                         {"internal/store"},
	"github.com/jackc/pgx":                {"internal/store"},
	"github.com/pressly/goose":            {"internal/store"},
	"database/sql":                        {"internal/store"},
	"github.com/labstack/echo":            {"internal/server"},
	"github.com/danielgtaylor/huma":       {"internal/server/api"},
	"github.com/alexedwards/scs":          {"internal/server/session"},
	"github.com/alexedwards/argon2id":     {"internal/server/session"},
	"github.com/robfig/cron":              {"jobs"},
	"github.com/wneessen/go-mail":         {"internal/mail"},
	"net/smtp":                            {"internal/mail"},
	"github.com/arran4/golang-ical":       {"internal/mail", "internal/server"},
	"github.com/xuri/excelize":            {"internal/exchange"},
	"golang.org/x/text":                   {"internal/exchange", "internal/server/session"},
	"golang.org/x/time":                   {"internal/server"},
	"rsc.io/qr":                           {"internal/paper"},
	"codeberg.org/go-pdf/fpdf":            {"internal/paper"},
	"golang.org/x/image":                  {"internal/paper", "internal/files"},
	"image":                               {"internal/files", "internal/paper"},
	"github.com/alecthomas/kong":          {"internal/config", "cmd/hoseward"},
	"github.com/prometheus/client_golang": {"internal/server"},
	"gonum.org/v1/gonum":                  {"internal/quantity", "internal/hose", "internal/life", "internal/register"},
	"net/http":                            {"internal/server", "internal/feed", "cmd/hoseward", "internal/files"},
	"html/template":                       {"web", "internal/server", "internal/mail"},
	"github.com/chromedp":                 {},
	"golang.org/x/net/html":               {},
	"pgregory.net/rapid":                  {},
	"github.com/google/go-cmp":            {},
	"github.com/pb33f":                    {},
	"go.uber.org/goleak":                  {},
	"github.com/jba/templatecheck":        {},
	"github.com/prometheus/common":        {},
	"github.com/emersion":                 {},
	"testing":                             {},
}

// checkLibraries keeps each library in its home, so that replacing it touches
// one folder, and test libraries out of the program. Tests in package x_test
// and testkit may import any that has a line; tests inside a package may
// import test libraries too.
func checkLibraries(t *Tree) []string {
	var bad []string
	for _, g := range t.Go {
		free := under(g.Dir, "internal/testkit") || under(g.Dir, "internal/archtest") || g.Test && g.Outside
		for _, p := range sorted(g.Imports) {
			library, in, known := homeOf(p)
			switch {
			case strings.HasPrefix(p, Module+"/"):
			case !known && strings.Contains(strings.Split(p, "/")[0], "."):
				bad = append(bad, fmt.Sprintf("%s imports %s, which has no home yet", g.Path, p))
			case !known || free || g.Test && (len(in) == 0 || !strings.Contains(library, ".")):
			case !slices.ContainsFunc(in, func(home string) bool { return under(g.Dir, home) }):
				bad = append(bad, fmt.Sprintf("%s imports %s, whose home is %v", g.Path, p, in))
			}
		}
	}
	return bad
}

func homeOf(p string) (library string, in []string, ok bool) {
	if p == "database/sql/driver" {
		return "", nil, false // types that store themselves; no database
	}
	for d := p; d != "."; d = path.Dir(d) {
		if in, ok := homes[d]; ok {
			return d, in, true
		}
	}
	return "", nil, false
}

func under(dir, home string) bool { return dir == home || strings.HasPrefix(dir, home+"/") }

// checkCore keeps quantity, hose, life and register pure: nothing of theirs
// but tests reads a clock, a file, the network or chance.
func checkCore(t *Tree) []string {
	var bad []string
	for _, g := range t.Go {
		of, _, _ := lineOf(g.Dir)
		pure := under(of, "internal/life") || of == "internal/quantity" || of == "internal/hose" || of == "internal/register" || of == "internal/notice"
		if !pure || g.Test {
			continue
		}
		for _, p := range sorted(g.Imports) {
			switch strings.Split(p, "/")[0] {
			case "os", "net", "log", "syscall", "plugin", "unsafe":
				bad = append(bad, fmt.Sprintf("%s imports %s; the core does no I/O", g.Path, p))
			case "math":
				if p == "math/rand" {
					bad = append(bad, fmt.Sprintf("%s imports %s; the core knows no chance", g.Path, p))
				}
			case "crypto":
				if p == "crypto/rand" {
					bad = append(bad, fmt.Sprintf("%s imports %s; the core knows no chance", g.Path, p))
				}
			}
			if p == "io/ioutil" || p == "testing" {
				bad = append(bad, fmt.Sprintf("%s imports %s; the core does no I/O", g.Path, p))
			}
		}
	}
	return bad
}
