package server_test

import (
	"context"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"hoseward/internal/server"
	"hoseward/internal/testkit"
)

// listening is a server that a browser can open.
func listening(t *testing.T, make func(testing.TB, ...setting) *site, settings ...setting) (s *site, base string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s = make(t, append(settings, func(c *server.Config, _ *server.Deps) { c.Addr = l.Addr().String() })...)
	h := s.server.HTTP()
	h.Handler = s.signedIn(h.Handler)
	ended := goServe(h, l)
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		_ = h.Shutdown(ctx)
		<-ended
	})
	return s, "http://" + l.Addr().String()
}

func goServe(h *http.Server, l net.Listener) <-chan struct{} {
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		_ = h.Serve(l)
	}()
	return ended
}

// watch is run in every page before its own scripts and keeps what the policy
// forbade and what went wrong.
const watch = `window.forbidden = [];
addEventListener('securitypolicyviolation', (e) => forbidden.push(e.violatedDirective + ' ' + e.blockedURI));
addEventListener('error', (e) => forbidden.push('error ' + e.message));`

func run[T any](t *testing.T, ctx context.Context, a chromedp.Action[T]) T {
	t.Helper()
	v, err := chromedp.Run(ctx, a)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func do(t *testing.T, ctx context.Context, a ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	if err := chromedp.Do(ctx, a...); err != nil {
		t.Fatal(err)
	}
}

// call sends a command of the browser's protocol.
func call[P, R any](c cdp.Command[P, R], params P) chromedp.Action[R] {
	return func(ctx context.Context, target *chromedp.Target) (R, error) { return cdp.Call(ctx, target, c, params) }
}

// loaded waits until a page and its scripts are there.
func loaded(t *testing.T, ctx context.Context) {
	t.Helper()
	run(t, ctx, chromedp.Evaluate[bool](`new Promise((done) => document.readyState === 'complete' ? done(true) : addEventListener('load', () => done(true)))`, chromedp.EvalAwaitPromise))
}

func watched(t *testing.T) context.Context {
	t.Helper()
	ctx := testkit.Browser(t)
	run(t, ctx, call(page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: watch}))
	return ctx
}

// measure opens every part of a page and measures it: how far it reaches
// beyond its screen, and the controls that are too small to touch. Links
// within running text are as small as the text.
const measure = `(() => {
  document.querySelectorAll('details').forEach((d) => { d.open = true; });
  const wide = [];
  const width = document.documentElement.clientWidth;
  if (document.documentElement.scrollWidth > width) {
    for (const e of document.querySelectorAll('body *')) {
      if (e.getBoundingClientRect().right > width + 1 && !e.closest('svg') && !e.closest('.hidden') && !e.closest('thead')) {
        wide.push(e.tagName + '.' + e.className + ' ' + Math.round(e.getBoundingClientRect().right));
      }
    }
    if (wide.length === 0) wide.push('page ' + document.documentElement.scrollWidth);
  }
  const small = [];
  for (const e of document.querySelectorAll('a, button, select, summary, textarea, input:not([type=hidden])')) {
    const target = e.type === 'checkbox' || e.type === 'radio' ? e.closest('label') : e;
    const r = target.getBoundingClientRect();
    if (r.width === 0 || e.classList.contains('skip')) continue;
    if (e.matches('a') && e.closest('p, li, dd') && getComputedStyle(e).display === 'inline') continue;
    if (r.height < 47.5 || r.width < 44) small.push(e.tagName + ' ' + (e.textContent || e.name).trim().slice(0, 30) + ' ' + Math.round(r.width) + 'x' + Math.round(r.height));
  }
  return {Wide: wide.slice(0, 5), Small: small.slice(0, 5), Forbidden: window.forbidden};
})()`

type measured struct{ Wide, Small, Forbidden []string }

func TestBrowser_PagesFitTheirScreenAndThePolicy(t *testing.T) {
	s, base := listening(t, fullFleet, isDemo)
	ctx := watched(t)
	for _, screen := range []testkit.Screen{testkit.SmallPhone, testkit.Phone, testkit.Desk} {
		do(t, ctx, testkit.On(screen))
		for _, path := range everyPage(s) {
			do(t, ctx, chromedp.Navigate(base+path))
			m := run(t, ctx, chromedp.Evaluate[measured](measure))
			if len(m.Wide) > 0 {
				t.Errorf("%s at %d px scrolls sideways: %s", path, screen, strings.Join(m.Wide, "; "))
			}
			if len(m.Small) > 0 {
				t.Errorf("%s at %d px has controls too small to touch: %s", path, screen, strings.Join(m.Small, "; "))
			}
			if len(m.Forbidden) > 0 {
				t.Errorf("%s: %s", path, strings.Join(m.Forbidden, "; "))
			}
		}
	}
}

// The listener that the test above relies on hears a violation.
func TestBrowser_AViolationOfThePolicyIsHeard(t *testing.T) {
	_, base := listening(t, empty)
	ctx := watched(t)
	do(t, ctx, chromedp.Navigate(base+"/"))
	got := run(t, ctx, chromedp.Evaluate[[]string](`new Promise((done) => {
  addEventListener('securitypolicyviolation', () => setTimeout(() => done(window.forbidden), 0));
  const s = document.createElement('script'); s.textContent = 'window.ran = true'; document.body.append(s);
  document.body.setAttribute('style', 'color: red');
})`, chromedp.EvalAwaitPromise))
	if len(got) == 0 || !strings.Contains(strings.Join(got, " "), "inline") {
		t.Errorf("heard %q", got)
	}
}

// contrast is the lowest contrast of text on a page (WCAG 2.2, relative
// luminance and contrast ratio), with the text.
const contrast = `(() => {
  const parse = (c) => c.match(/[\d.]+/g).map(Number);
  const lum = ([r, g, b]) => [r, g, b].map((v) => v / 255).map((v) => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4).reduce((s, v, i) => s + v * [0.2126, 0.7152, 0.0722][i], 0);
  const ground = (e) => { for (; e; e = e.parentElement) { const c = parse(getComputedStyle(e).backgroundColor); if (c.length < 4 || c[3] > 0) return c; } return [255, 255, 255]; };
  let worst = 99, where = '';
  document.querySelectorAll('details').forEach((d) => { d.open = true; });
  for (const e of document.querySelectorAll('body *')) {
    if (![...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim()) || e.getBoundingClientRect().width === 0) continue;
    const s = getComputedStyle(e);
    const ink = parse(e.closest('svg') ? (s.fill === 'none' ? s.color : s.fill) : s.color);
    const [a, b] = [lum(ink), lum(ground(e))].sort((x, y) => y - x);
    const ratio = (a + 0.05) / (b + 0.05);
    if (ratio < worst) { worst = ratio; where = e.tagName + ' ' + e.textContent.trim().slice(0, 40); }
  }
  return {Ratio: worst, Where: where};
})()`

type lowest struct {
	Ratio float64
	Where string
}

func TestBrowser_TextStandsOutInLightAndDark(t *testing.T) {
	s, base := listening(t, fullFleet, isDemo)
	ctx := watched(t)
	do(t, ctx, testkit.On(testkit.Desk))
	for _, scheme := range []string{"light", "dark"} {
		run(t, ctx, call(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}}))
		for _, path := range everyPage(s) {
			do(t, ctx, chromedp.Navigate(base+path))
			if l := run(t, ctx, chromedp.Evaluate[lowest](contrast)); l.Ratio < 7 {
				t.Errorf("%s in %s: contrast %.2f at %q, want 7", path, scheme, l.Ratio, l.Where)
			}
		}
	}
}

// look is the outline of each status: what of it can be told without colour.
const look = `[...new Set([...document.querySelectorAll('.status')].map((e) => {
  const s = getComputedStyle(e);
  return e.textContent.trim() + ': ' + [s.borderTopStyle, s.borderTopWidth, s.borderLeftWidth, s.borderRadius, s.boxShadow !== 'none', s.textDecorationLine].join(' ');
}))]`

func TestBrowser_EachStatusHasAnOutlineOfItsOwn(t *testing.T) {
	_, base := listening(t, demoFleet)
	ctx := watched(t)
	do(t, ctx, chromedp.Navigate(base+"/"))
	outlines := map[string]string{}
	for _, l := range run(t, ctx, chromedp.Evaluate[[]string](look)) {
		word, outline, _ := strings.Cut(l, ": ")
		if other, taken := outlines[outline]; taken && other != word {
			t.Errorf("%s and %s look alike: %s", word, other, outline)
		}
		outlines[outline] = word
	}
	if len(outlines) < 6 {
		t.Errorf("%d outlines: %v", len(outlines), outlines)
	}
}

func TestBrowser_AFormIsSentOnceHoweverOftenItsButtonIsPressed(t *testing.T) {
	_, base := listening(t, empty)
	ctx := watched(t)
	do(t, ctx, chromedp.Navigate(base+"/machines/new"))
	loaded(t, ctx)
	// The browser is kept on the page and what would be sent is counted.
	sent := run(t, ctx, chromedp.Evaluate[int](`(() => {
  let sent = 0;
  document.addEventListener('submit', (e) => { if (!e.defaultPrevented) sent++; e.preventDefault(); });
  const b = document.querySelector('main form button'); b.click(); b.click(); b.click();
  return sent;
})()`))
	if sent != 1 {
		t.Errorf("the form was sent %d times", sent)
	}
}

// enter presses the key Enter as a keyboard does: one event that is both the
// key and its letter, so that a link which takes the key keeps it from the
// field it leads to.
func enter(t *testing.T, ctx context.Context) {
	t.Helper()
	key := input.DispatchKeyEventParams{Type: "keyDown", Key: "Enter", Code: "Enter", WindowsVirtualKeyCode: 13, Text: "\r", UnmodifiedText: "\r"}
	run(t, ctx, call(input.DispatchKeyEvent, key))
	key.Type, key.Text, key.UnmodifiedText = "keyUp", "", ""
	run(t, ctx, call(input.DispatchKeyEvent, key))
}

// The keyboard alone: the first stop is the link past the menu, the form is
// filled and sent by Tab, letters and Enter, and after a mistake the list of
// what is wrong is where the reader stands.
func TestBrowser_TheKeyboardIsEnough(t *testing.T) {
	s, base := listening(t, empty)
	ctx := watched(t)
	active := func(want string) {
		t.Helper()
		got := run(t, ctx, chromedp.Evaluate[string](`document.activeElement.id || document.activeElement.className`))
		if got != want {
			t.Fatalf("the reader stands at %q, want %q", got, want)
		}
	}
	do(t, ctx, chromedp.Navigate(base+"/machines/new"), chromedp.KeyEvent("\t"))
	active("skip")
	enter(t, ctx)
	active("content")
	do(t, ctx, chromedp.KeyEvent("\t"))
	active("code")
	do(t, ctx, chromedp.KeyEvent("RT-07"))
	enter(t, ctx)
	do(t, ctx, chromedp.WaitVisible(chromedp.CSS("#problems")))
	loaded(t, ctx)
	active("problems")
	do(t, ctx, chromedp.KeyEvent("\t"))
	enter(t, ctx)
	active("site")
	do(t, ctx, chromedp.KeyEvent("Depot"))
	enter(t, ctx)
	do(t, ctx, chromedp.WaitVisible(chromedp.CSS(".done")))
	if sheet, err := s.store.MachineSheet(t.Context(), now, "RT-07"); err != nil || sheet.Site.Name != "Depot" {
		t.Errorf("%+v %v", sheet.Machine, err)
	}
}

func TestBrowser_ASheetGoesInByHand(t *testing.T) {
	s, base := listening(t, empty)
	ctx := watched(t)
	file := filepath.Join(t.TempDir(), "liste.csv")
	if err := os.WriteFile(file, []byte(germanList), 0o600); err != nil {
		t.Fatal(err)
	}
	do(t, ctx, testkit.On(testkit.Phone), chromedp.Navigate(base+"/import"), chromedp.SetUploadFiles(chromedp.CSS("#file"), []string{file}),
		chromedp.Click(chromedp.CSS("main form button")), chromedp.WaitVisible(chromedp.CSS(".outcome")))
	if m := run(t, ctx, chromedp.Evaluate[measured](measure)); len(m.Wide)+len(m.Small)+len(m.Forbidden) > 0 {
		t.Errorf("the report: %+v", m)
	}
	run(t, ctx, chromedp.Evaluate[bool](`document.querySelector('.more details').open = false`)) // measuring opened it, over the button
	do(t, ctx, chromedp.Click(chromedp.CSS("button[value=good]")), chromedp.WaitVisible(chromedp.CSS(".done")))
	if m, a := s.counts(); m != 2 || a != 2 {
		t.Errorf("%d machines, %d assemblies", m, a)
	}
}

func TestBrowser_WorksWithoutScripts(t *testing.T) {
	s, base := listening(t, empty)
	ctx := testkit.Browser(t)
	run(t, ctx, call(emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true}))
	do(t, ctx, chromedp.Navigate(base+"/machines/new"), chromedp.SendKeys(chromedp.CSS("#code"), "RT-01"), chromedp.SendKeys(chromedp.CSS("#site"), "Depot"),
		chromedp.Click(chromedp.CSS("main form button.first")), chromedp.WaitVisible(chromedp.CSS(".done")))
	if m, _ := s.counts(); m != 1 {
		t.Errorf("%d machines", m)
	}
}
