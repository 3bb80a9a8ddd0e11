package server_test

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"hoseward/internal/testkit"
)

// violation is what axe finds wrong.
type violation struct {
	ID, Impact, Help string
	Nodes            []string
}

func (v violation) String() string {
	return fmt.Sprintf("%s (%s): %s\n    %s", v.ID, v.Impact, v.Help, strings.Join(v.Nodes, "\n    "))
}

// axeRun opens every part of the page and lets axe look at it with all the rules
// it has switched on of itself: WCAG 2 A and AA and its best practices.
const axeRun = `(async () => {
  document.querySelectorAll('details').forEach((d) => { d.open = true; });
  const found = await axe.run(document, {resultTypes: ['violations'], preload: false, RULES});
  return found.violations.map((v) => ({ID: v.id, Impact: v.impact, Help: v.help, Nodes: v.nodes.slice(0, 3).map((n) => n.target.join(' ') + ' – ' + n.html.slice(0, 160) + ' – ' + (n.failureSummary || '').split('\n').slice(0, 3).join(' '))}));
})()`

// axe looks at a page, by the named rules only if there are some. It is put
// there by the browser's protocol: the policy of the pages forbids scripts that
// are not the server's own.
func axe(t *testing.T, ctx context.Context, script string, rules ...string) []violation {
	t.Helper()
	only := ""
	if len(rules) > 0 {
		only = "runOnly: ['" + strings.Join(rules, "', '") + "']"
	}
	loaded(t, ctx)
	run(t, ctx, chromedp.Evaluate[bool](script+"\n;typeof axe === 'object'"))
	return run(t, ctx, chromedp.Evaluate[[]violation](strings.Replace(axeRun, "RULES", only, 1), chromedp.EvalAwaitPromise))
}

func TestAxe_NoPageHasAViolation(t *testing.T) {
	script := testkit.Axe(t)
	for _, c := range []struct {
		screen testkit.Screen
		scheme string
		rules  []string // what the dark changes is colour
	}{{testkit.Phone, "light", nil}, {testkit.Desk, "light", nil}, {testkit.Desk, "dark", []string{"color-contrast", "link-in-text-block"}}} {
		t.Run(fmt.Sprintf("%d px, %s", c.screen, c.scheme), func(t *testing.T) {
			s, base := listening(t, fullFleet, isDemo)
			ctx := watched(t)
			do(t, ctx, testkit.On(c.screen))
			run(t, ctx, call(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: c.scheme}}}))
			for _, path := range everyPage(s) {
				do(t, ctx, chromedp.Navigate(base+path))
				for _, v := range axe(t, ctx, script, c.rules...) {
					t.Errorf("%s: %s", path, v)
				}
			}
		})
	}
}

// A form with mistakes in it is a page of its own.
func TestAxe_NoFormWithMistakesHasAViolation(t *testing.T) {
	script := testkit.Axe(t)
	_, base := listening(t, depotOn)
	ctx := watched(t)
	do(t, ctx, testkit.On(testkit.Phone))
	for _, path := range []string{
		"/machines/new", "/sites/new", "/kinds/new", "/policies/new", "/machines/RT-01/hoses/new", "/machines/RT-01/readings/new", "/machines/RT-01/inspections/new",
		"/machines/RT-01/positions/new", "/machines/RT-01/conditions/new", "/machines/RT-01/lay-ups/new",
	} {
		do(t, ctx, chromedp.Navigate(base+path))
		loaded(t, ctx)
		run(t, ctx, chromedp.Evaluate[bool](`(() => { for (const i of document.querySelectorAll('main form[method=post] input:not([type]):not([list])')) i.value = ''; document.querySelector('main form[method=post] button').click(); return true; })()`))
		do(t, ctx, chromedp.WaitVisible(chromedp.CSS("#problems")))
		for _, v := range axe(t, ctx, script) {
			t.Errorf("%s with mistakes: %s", path, v)
		}
	}
}

// axe sees what it is to see, and is not kept from it by the policy of the page.
func TestAxe_SeesAViolation(t *testing.T) {
	script := testkit.Axe(t)
	_, base := listening(t, empty)
	ctx := watched(t)
	do(t, ctx, chromedp.Navigate(base+"/"))
	run(t, ctx, chromedp.Evaluate[bool](`(() => { document.querySelector('main').append(document.createElement('select'), new Image()); return true; })()`))
	found := map[string]bool{}
	for _, v := range axe(t, ctx, script) {
		found[v.ID] = true
	}
	if !found["select-name"] || !found["image-alt"] {
		t.Errorf("a nameless choice and a picture without words: found %v", found)
	}
}

// depotOn is depot with settings.
func depotOn(t testing.TB, settings ...setting) *site {
	t.Helper()
	s := depot(t)
	return serve(t, s.store, settings...)
}
