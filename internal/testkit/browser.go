package testkit

import (
	"context"
	"os"
	"os/exec"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// browserPaths are where a Chromium is looked for.
func browserPaths() []string {
	return []string{"chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "headless-shell"}
}

// Browser starts a headless Chromium with a profile of its own and gives a
// context to run chromedp actions in; both end with the test. Without Chromium
// the test is skipped, or fails where HOSEWARD_TEST_ALL is 1.
func Browser(t testing.TB) context.Context {
	t.Helper()
	path := findBrowser()
	if path == "" {
		const how = "no Chromium found; to run the browser tests install the package chromium, or set HOSEWARD_TEST_BROWSER to the path of one"
		if os.Getenv("HOSEWARD_TEST_ALL") == "1" {
			t.Fatal(how)
		}
		t.Skip(how)
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(path), chromedp.UserDataDir(t.TempDir()), chromedp.NoSandbox,
		chromedp.Flag("disable-gpu", true), chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true),
	)
	alloc, stopAlloc := chromedp.NewExecAllocator(context.Background(), opts...)
	t.Cleanup(stopAlloc)
	ctx, stop := chromedp.NewContext(alloc)
	t.Cleanup(stop)
	if err := chromedp.Do(ctx); err != nil { // no time limit here: it would end the browser
		t.Fatalf("start Chromium at %s: %v", path, err)
	}
	ctx, cancel := context.WithTimeout(ctx, browserTime)
	t.Cleanup(cancel)
	return ctx
}

// browserTime is how long one test may use its browser.
const browserTime = 6 * time.Minute

func findBrowser() string {
	if path := os.Getenv("HOSEWARD_TEST_BROWSER"); path != "" {
		return path
	}
	for _, name := range browserPaths() {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	return ""
}

// Screen is how wide the browser shows a page, in CSS pixels.
type Screen int64

// The screens that pages are held to.
const (
	SmallPhone Screen = 320
	Phone      Screen = 360
	Desk       Screen = 1280
)

// On makes the browser show pages on a screen of that width.
func On(s Screen) chromedp.Action[chromedp.Void] {
	const height = 900
	if s < 600 {
		return chromedp.EmulateViewport(int64(s), height, chromedp.EmulateMobile, chromedp.EmulateTouch)
	}
	return chromedp.EmulateViewport(int64(s), height)
}
