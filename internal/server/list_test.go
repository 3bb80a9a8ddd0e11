package server_test

import (
	"net/http"
	"strings"
	"testing"

	"hoseward/internal/testkit"
)

func TestLists_AListIsKeptShownOnTodayAndForgotten(t *testing.T) {
	s := twoSites(t)
	address := "/positions?circuit=lift&empty=yes"
	page := testkit.HTML(t, want(t, s.get(address), 200).Body)
	form := testkit.Find(page, "details.keep form")
	if len(form) != 1 {
		t.Fatal("no form to keep the list")
	}
	s.wentTo(s.post("/lists", typed(t, page, "name", "Empty lift places")...), address+"&done=list-kept")
	testkit.HTML(t, want(t, s.get("/"), 200).Body, testkit.In("main a[href="+address+"]", testkit.Text("Empty lift places")))
	lists := testkit.HTML(t, want(t, s.get("/lists"), 200).Body, testkit.In("tbody a[href="+address+"]", testkit.Text("Empty lift places")))
	forget := testkit.AttrOf(testkit.Find(lists, "tbody form")[0], "action")
	s.wentTo(s.post(forget), "/lists?done=list-forgotten")
	testkit.HTML(t, want(t, s.get("/lists"), 200).Body, testkit.In("main", testkit.Text("No list is kept yet")))
	testkit.HTML(t, want(t, s.get("/"), 200).Body, testkit.HasNot("main a[href="+address+"]"))
}

// A kept list by a kind or a site that has another name by now finds nothing:
// the page must not look as if that were all there is.
func TestLists_AFilterThatNamesNothingIsSeen(t *testing.T) {
	s := twoSites(t)
	for _, path := range []string{"/due?kind=gone", "/machines?kind=gone", "/machines?site=gone", "/positions?kind=gone", "/positions?policy=gone", "/assemblies?site=gone", "/readings?kind=gone", "/readings?site=gone"} {
		testkit.HTML(t, want(t, s.get(path), 200).Body, testkit.In("main option[value=gone]", testkit.Text("gone (not in this list)"), testkit.Attr("selected", "")))
	}
}

// A filter that cannot be meant is left out of a list, and told; a change must
// not reach what it would have left out.
func TestChangeMany_RefusesAFilterThatCannotBeMeant(t *testing.T) {
	s := twoSites(t)
	for _, r := range []*http.Response{s.get("/positions/change?all=yes&hurt=maybe"), s.post("/positions/change?all=yes&hurt=maybe", "hurt", "no")} {
		testkit.HTML(t, want(t, r, 422).Body, testkit.In("main", testkit.Text("Choose yes or no")))
	}
}

func TestLists_OneOfTheSameNameIsReplaced(t *testing.T) {
	s := twoSites(t)
	for _, address := range []string{"/due?status=soon", "/due?status=overdue"} {
		want(t, s.post("/lists", "name", "Mine", "address", address), http.StatusSeeOther)
	}
	testkit.HTML(t, want(t, s.get("/lists"), 200).Body, testkit.Count("tbody tr", 1), testkit.Has("tbody a[href=/due?status=overdue]"))
}

func TestLists_EveryListCanBeKept(t *testing.T) {
	s := twoSites(t)
	for _, path := range []string{"/due", "/machines", "/assemblies", "/positions", "/readings"} {
		page := testkit.HTML(t, want(t, s.get(path), 200).Body)
		if got := testkit.AttrOf(testkit.Find(page, "details.keep input[name=address]")[0], "value"); got != path {
			t.Errorf("%s is kept as %s", path, got)
		}
		want(t, s.post("/lists", "name", "list of "+path, "address", path), http.StatusSeeOther)
	}
}

func TestLists_RefuseWhatIsNoListAndKeepWhatWasTyped(t *testing.T) {
	s := twoSites(t)
	for _, c := range []struct{ why, name, address, says string }{
		{"no name", " ", "/due?site=Depot", "Give the list a name"},
		{"a very long name", strings.Repeat("x", 500), "/due", "at most"},
		{"another server", "Mine", "https://example.org/due", "no list of this register"},
		{"another server without its scheme", "Mine", "//example.org/due", "no list of this register"},
		{"a page that is no list", "Mine", "/machines/RT-01", "no list of this register"},
		{"nothing", "Mine", "", "no list of this register"},
		{"a script", "Mine", "javascript:alert(1)", "no list of this register"},
		{"a line break", "Mine", "/due?x=1\r\nSet-Cookie: a=b", "no list of this register"},
	} {
		t.Run(c.why, func(t *testing.T) {
			r := want(t, s.post("/lists", "name", c.name, "address", c.address), 422)
			testkit.HTML(t, r.Body, testkit.In("#problems", testkit.Text(c.says)))
		})
	}
	testkit.HTML(t, want(t, s.get("/lists"), 200).Body, testkit.HasNot("tbody tr"))
	want(t, s.post("/lists/999/forget"), 404)
	want(t, s.post("/lists/x/forget"), 404)
}
