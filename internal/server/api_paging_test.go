package server_test

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// keyed is a thing of a list by what tells it from others.
type keyed struct {
	ID       int64
	Code     string
	Assembly string
}

func (k keyed) key() string { return fmt.Sprintf("%d/%s/%s", k.ID, k.Code, k.Assembly) }

type pageOf struct {
	Items []keyed
	Next  string `json:"next_cursor"`
}

// walkList reads a list page by page; between gives what happens between two
// pages.
func (s *site) walkList(t testing.TB, path string, limit int, between func(page int)) []string {
	t.Helper()
	var keys []string
	cursor := ""
	for page := 0; ; page++ {
		sep := "?"
		if strings.Contains(path, "?") {
			sep = "&"
		}
		var p pageOf
		a := s.api(http.MethodGet, fmt.Sprintf("%s%slimit=%d&cursor=%s", path, sep, limit, url.QueryEscape(cursor)), nil)
		a.says(t, http.StatusOK, &p)
		for _, k := range p.Items {
			keys = append(keys, k.key())
		}
		link := a.Header.Get("Link")
		if p.Next == "" {
			if link != "" {
				t.Errorf("the last page has a link %s", link)
			}
			return keys
		}
		if len(p.Items) != limit || !strings.HasPrefix(link, "</api/v1"+strings.SplitN(path, "?", 2)[0]) || !strings.HasSuffix(link, `>; rel="next"`) || !strings.Contains(link, url.QueryEscape(p.Next)) {
			t.Fatalf("a page of %d has the link %s", len(p.Items), link)
		}
		cursor = p.Next
		between(page)
	}
}

func pagedLists(s *site) []string {
	l := s.first(register.LineFilter{})
	machine, hose := seg("machines", l.MachineCode), seg("assemblies", l.AssemblyCode)
	return []string{
		"/sites", "/kinds", "/policies", "/machines", "/positions", "/positions?can_hurt=true", "/assemblies", "/assemblies?where=fitted", "/due", "/due?within_days=90&can_hurt=true",
		machine + "/positions", machine + "/circuits", machine + "/readings", machine + "/meter-events", machine + "/lay-ups", machine + "/conditions",
		hose + "/fittings", hose + "/inspections", hose + "/findings",
	}
}

// TestAPI_PagesHoldEachThingOnce walks every list in pages of several sizes: it
// must be the list as one page has it.
func TestAPI_PagesHoldEachThingOnce(t *testing.T) {
	s := fullFleet(t)
	for _, path := range pagedLists(s) {
		whole := s.walkList(t, path, 1000, func(int) {})
		for _, limit := range []int{1, 7, 100} {
			if limit == 1 && len(whole) > 60 {
				continue
			}
			if got := s.walkList(t, path, limit, func(int) {}); strings.Join(got, "\n") != strings.Join(whole, "\n") {
				t.Errorf("%s in pages of %d has %d things, at once %d", path, limit, len(got), len(whole))
			}
		}
	}
}

// TestAPI_PagesAreStableWhileOthersAdd adds and takes away things between pages:
// whatever was there all the time comes exactly once.
func TestAPI_PagesAreStableWhileOthersAdd(t *testing.T) {
	s := ownFleet(t)
	site := s.first(register.LineFilter{}).Site
	n, noted := 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		path := rapid.SampledFrom([]string{"/assemblies", "/machines", "/positions", "/machines/PG-0/readings"}).Draw(rt, "list")
		limit := rapid.IntRange(1, 9).Draw(rt, "limit")
		if path == "/assemblies" || path == "/positions" {
			limit += 150 // they are long
		}
		if n == 0 {
			s.apply(register.AddMachine{Site: site, Code: "PG-0"})
			for i := range 12 {
				s.apply(register.AddReading{Machine: "PG-0", On: quantity.DateOf(now, time.UTC).AddDays(i*3 - 300), Hours: float64(i * 30)})
			}
		}
		before := s.walkList(t, path, 1000, func(int) {})
		got := s.walkList(t, path, limit, func(page int) {
			if page >= 5 { // or a list that grows at its end would have none
				return
			}
			n++
			code := fmt.Sprintf("%s-%d", rapid.SampledFrom([]string{"AA", "PG", "TB-0100", "ZZ", "aa"}).Draw(rt, "code"), n)
			switch path {
			case "/assemblies":
				s.apply(register.AddAssembly{Site: site, Assembly: register.Assembly{Code: code}})
			case "/machines":
				s.apply(register.AddMachine{Site: site, Code: code})
			case "/positions":
				s.apply(register.AddMachine{Site: site, Code: code}, register.AddPosition{Machine: code, Name: "a", WalkOrder: 1})
			default:
				if noted++; noted < 260 { // a day has one reading
					s.apply(register.AddReading{Machine: "PG-0", On: quantity.DateOf(now, time.UTC).AddDays(-noted), Hours: 330, Disputed: true})
				}
			}
		})
		seen := map[string]int{}
		for _, k := range got {
			seen[k]++
		}
		for k, times := range seen {
			if times != 1 {
				rt.Fatalf("%s in pages of %d: %s comes %d times", path, limit, k, times)
			}
		}
		for _, k := range before {
			if seen[k] == 0 {
				rt.Fatalf("%s in pages of %d: %s is lost", path, limit, k)
			}
		}
	})
}

// TestAPI_CursorsAreOfTheirListOnly alters cursors and takes them to other
// lists.
func TestAPI_CursorsAreOfTheirListOnly(t *testing.T) {
	s := fullFleet(t)
	var p pageOf
	s.api(http.MethodGet, "/due?limit=5&within_days=90", nil).says(t, http.StatusOK, &p)
	if p.Next == "" {
		t.Fatal("the list has one page only")
	}
	s.api(http.MethodGet, "/due?within_days=90&limit=2&cursor="+p.Next, nil).says(t, http.StatusOK, nil) // another limit is the same list
	for _, path := range []string{"/due?cursor=", "/due?within_days=60&cursor=", "/machines?cursor=", "/assemblies?within=1&cursor="} {
		if a := s.api(http.MethodGet, path+p.Next, nil); a.StatusCode != http.StatusBadRequest && a.StatusCode != http.StatusUnprocessableEntity {
			t.Errorf("%s takes a cursor of another list: %d", path, a.StatusCode)
		}
	}
	for i := range p.Next {
		for _, by := range []byte("A9_") {
			if p.Next[i] == by {
				continue
			}
			altered := p.Next[:i] + string(by) + p.Next[i+1:]
			if a := s.api(http.MethodGet, "/due?within_days=90&cursor="+altered, nil); a.StatusCode != http.StatusBadRequest {
				t.Fatalf("a cursor altered at %d is taken: %d %s", i, a.StatusCode, a.text)
			}
		}
	}
}
