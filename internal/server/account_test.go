package server_test

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"hoseward/internal/register"
	"hoseward/internal/testkit"
)

const pin = "493817"

// enrolled is a browser that knows the PIN of a person and is signed out.
func (s *site) enrolled(name string) *browser {
	s.t.Helper()
	b := s.browser()
	b.signIn(name)
	if r := b.post("/me/devices", "device", "phone", "pin", pin, "pin_again", pin, "pin_password", password); r.StatusCode != http.StatusSeeOther {
		s.t.Fatalf("enrolling gives %d", r.StatusCode)
	}
	b.post("/sign-out")
	return b
}

func TestPassword_IsChangedByWhoKnowsIt(t *testing.T) {
	s := empty(t)
	s.person("A. Moor", everywhere...)
	b, other := s.browser(), s.browser()
	b.signIn("A. Moor")
	other.signIn("A. Moor")
	page := testkit.HTML(t, want(t, b.get("/me/sign-in"), 200).Body, testkit.Has("#old[autocomplete=current-password]"), testkit.Has("#password[autocomplete=new-password]"))
	checkNames(t, "/me/sign-in", page)
	const another = "wooden shelf river"
	for _, c := range []struct{ why, old, password, again, at string }{
		{"a wrong old one", "wrong", another, another, "#old-error"},
		{"no old one", "", another, another, "#old-error"},
		{"a short new one", password, "short", "short", "#password-error"},
		{"two that differ", password, another, another + "s", "#again-error"},
		{"the own address of mail", password, "mail mail mail", "mail mail mail", "#password-error"},
	} {
		testkit.HTML(t, want(t, b.post("/me/password", "old", c.old, "password", c.password, "again", c.again), 422).Body, testkit.Has(c.at))
	}
	before := b.cookies["hoseward"].Value
	to(t, b.post("/me/password", "old", password, "password", another, "again", another), "/me/sign-in?done=password-set")
	if !b.isIn() || b.cookies["hoseward"].Value == before {
		t.Error("who changed it is out, or keeps the token")
	}
	if other.isIn() {
		t.Error("another browser is still in")
	}
	want(t, s.browser().signIn("A. Moor"), 422)
	to(t, s.browser().post("/sign-in", "name", "A. Moor", "password", another), "/")
	if log := s.log.String(); strings.Contains(log, another) || !strings.Contains(log, "password chosen") {
		t.Error("the log holds the password, or does not tell of the change")
	}
}

// The old password cannot be guessed in a session that was left open.
func TestPassword_TheOldOneIsNotGuessedEither(t *testing.T) {
	s := empty(t)
	s.person("A. Moor", everywhere...)
	b := s.browser()
	b.signIn("A. Moor")
	for range 5 {
		b.post("/me/password", "old", "wrong", "password", "wooden shelf river", "again", "wooden shelf river")
	}
	testkit.HTML(t, want(t, b.post("/me/password", "old", password, "password", "wooden shelf river", "again", "wooden shelf river"), 422).Body,
		testkit.In("#old-error", testkit.Text("30 seconds")))
}

func TestPIN_LetsInOnItsDeviceOnly(t *testing.T) {
	c := &clock{now}
	s := empty(t, c.set)
	s.person("A. Moor", everywhere...)
	b := s.enrolled("A. Moor")
	device := b.cookies["hoseward-device"]
	if device == nil || !device.HttpOnly || device.Path != "/" || device.Domain != "" || device.MaxAge != 30*24*3600 || len(device.Value) != 52 || device.SameSite != http.SameSiteLaxMode {
		t.Fatalf("the device holds %s", device)
	}
	testkit.HTML(t, want(t, b.get("/sign-in?next=%2Fdue"), 200).Body, testkit.Has("#pin[type=password][inputmode=numeric]"), testkit.In("main", testkit.Text("A. Moor, on phone")))
	testkit.HTML(t, want(t, s.browser().get("/sign-in"), 200).Body, testkit.HasNot("#pin"))
	want(t, s.browser().post("/sign-in/pin", "pin", pin), 422)

	to(t, b.post("/sign-in/pin", "pin", pin, "next", "/due"), "/due")
	want(t, b.get("/due"), 200)
	testkit.HTML(t, want(t, b.get("/people"), 403).Body, testkit.In("main", testkit.Text("needs your password")))
	testkit.HTML(t, want(t, b.post("/sites/new", "name", "Depot", "zone", "UTC"), 403).Body, testkit.In("main", testkit.Text("needs your password")))
	want(t, b.post("/me/password", "old", password, "password", "wooden shelf river", "again", "wooden shelf river"), 403)
	want(t, b.post("/me/devices", "device", "x", "pin", pin, "pin_again", pin, "pin_password", password), 403)
	testkit.HTML(t, want(t, b.get("/me/sign-in"), 200).Body, testkit.HasNot("#old"), testkit.In("main", testkit.Text("with the PIN of this device")))

	c.at = now.Add(12 * time.Hour)
	if b.isIn() {
		t.Error("a session by PIN lasts longer than 12 hours")
	}
	c.at = now.Add(30*24*time.Hour - time.Second)
	to(t, b.post("/sign-in/pin", "pin", pin), "/")
	c.at = now.Add(30 * 24 * time.Hour)
	b.post("/sign-out")
	testkit.HTML(t, want(t, b.get("/sign-in"), 200).Body, testkit.HasNot("#pin"))
	want(t, b.post("/sign-in/pin", "pin", pin), 422)
}

// Giving the password on the device lets the PIN count for its full time again;
// giving somebody else's does not.
func TestPIN_CountsAnewFromTheLastPassword(t *testing.T) {
	c := &clock{now}
	s := empty(t, c.set)
	s.person("A. Moor", everywhere...)
	s.person("B. Ruhr", everywhere...)
	b := s.enrolled("A. Moor")
	c.at = now.Add(20 * 24 * time.Hour)
	b.signIn("B. Ruhr")
	b.post("/sign-out")
	c.at = now.Add(29 * 24 * time.Hour)
	b.signIn("A. Moor")
	b.post("/sign-out")
	c.at = now.Add(58 * 24 * time.Hour)
	to(t, b.post("/sign-in/pin", "pin", pin), "/")
	c.at = now.Add(59*24*time.Hour + time.Second)
	want(t, b.post("/sign-in/pin", "pin", pin), 422)
}

func TestPIN_EndsAfterFiveWrongOnes(t *testing.T) {
	s := empty(t)
	id := s.person("A. Moor", everywhere...)
	b := s.enrolled("A. Moor")
	for range 10 {
		want(t, b.post("/sign-in/pin", "pin", "12"), 422) // no PIN at all, so no try
	}
	for left := 4; left > 0; left-- {
		testkit.HTML(t, want(t, b.post("/sign-in/pin", "pin", "493818"), 422).Body, testkit.In("#pin-error", testkit.Text("wrong tr")))
	}
	to(t, b.post("/sign-in/pin", "pin", pin), "/") // the right one makes it begin anew
	b.post("/sign-out")
	for range 4 {
		b.post("/sign-in/pin", "pin", "493818")
	}
	device := *b.cookies["hoseward-device"]
	testkit.HTML(t, want(t, b.post("/sign-in/pin", "pin", "493818"), 422).Body, testkit.In("main", testkit.Text("the PIN on this device is ended")), testkit.HasNot("#pin"))
	if b.cookies["hoseward-device"] != nil {
		t.Error("the device keeps its secret")
	}
	b.cookies["hoseward-device"] = &device
	want(t, b.post("/sign-in/pin", "pin", pin), 422)
	if d, err := s.store.Devices(t.Context(), id, now); err != nil || len(d) != 0 {
		t.Errorf("%d devices, %v", len(d), err)
	}
	to(t, b.signIn("A. Moor"), "/") // the password counts still
	if log := s.log.String(); strings.Contains(log, pin) || strings.Contains(log, "493818") || !strings.Contains(log, "wrong PIN") {
		t.Error("the log holds a PIN, or does not tell of wrong ones")
	}
}

func TestPIN_EndsWithWhatItRestsOn(t *testing.T) {
	for _, row := range []struct {
		why string
		do  func(s *site, id int64)
	}{
		{"ended in the list", func(s *site, id int64) {
			d, err := s.store.Devices(s.t.Context(), id, now)
			if err != nil || len(d) != 1 {
				s.t.Fatal(d, err)
			}
			other := s.browser()
			other.signIn("A. Moor")
			to(s.t.(*testing.T), other.post("/me/devices/"+number(d[0].ID)+"/end"), "/me/sign-in?done=device-ended")
		}},
		{"signed out everywhere", func(s *site, _ int64) {
			other := s.browser()
			other.signIn("A. Moor")
			to(s.t.(*testing.T), other.post("/me/sign-out-everywhere"), "/sign-in?done=signed-out")
		}},
		{"another password", func(s *site, id int64) { s.applyAs(id, register.ChoosePassword{Hash: passwordHash()}) }},
	} {
		s := empty(t)
		id := s.person("A. Moor", everywhere...)
		b := s.enrolled("A. Moor")
		to(t, b.post("/sign-in/pin", "pin", pin), "/")
		row.do(s, id)
		if b.isIn() {
			t.Errorf("%s: the session by PIN goes on", row.why)
		}
		if r := b.post("/sign-in/pin", "pin", pin); r.StatusCode != 422 {
			t.Errorf("%s: the PIN counts still: %d", row.why, r.StatusCode)
		}
	}
}

func TestPIN_NotOneThatManyHaveNorOfSomebodyElsesDevice(t *testing.T) {
	s := empty(t)
	s.person("A. Moor", everywhere...)
	b := s.browser()
	b.signIn("A. Moor")
	for _, c := range []struct{ device, pin, again, password, at string }{
		{"phone", "123456", "123456", password, "#pin-error"},
		{"phone", "12345", "12345", password, "#pin-error"},
		{"phone", pin, "493818", password, "#pin_again-error"},
		{"", pin, pin, password, "#device-error"},
		{"phone", pin, pin, "", "#pin_password-error"},
		{"phone", pin, pin, "not the password", "#pin_password-error"},
	} {
		text := body(t, want(t, b.post("/me/devices", "device", c.device, "pin", c.pin, "pin_again", c.again, "pin_password", c.password), 422))
		testkit.HTML(t, strings.NewReader(text), testkit.Has(c.at))
		if strings.Contains(text, `value="`+c.pin) {
			t.Error("the page sends the PIN back")
		}
	}
	s.enrolled("A. Moor")
	s.person("B. Ruhr", everywhere...)
	other := s.browser()
	other.signIn("B. Ruhr")
	want(t, other.post("/me/devices/1/end"), 404)
}

// The pages of whoever is not known yet, which the walks over every page as
// somebody signed in do not see as these do.
func TestAxe_SigningInHasNoViolation(t *testing.T) {
	script := testkit.Axe(t)
	_, base := listening(t, func(t testing.TB, settings ...setting) *site { return fullFleet(t, settings...).signedOut() }, isDemo)
	ctx := watched(t)
	for _, screen := range []testkit.Screen{testkit.SmallPhone, testkit.Desk} {
		do(t, ctx, testkit.On(screen))
		for _, path := range []string{"/sign-in", "/welcome/" + welcome, "/set-up/nothing", "/due"} {
			do(t, ctx, chromedp.Navigate(base+path))
			for _, v := range axe(t, ctx, script) {
				t.Errorf("%s at %d px: %s", path, screen, v)
			}
			if m := run(t, ctx, chromedp.Evaluate[measured](measure)); len(m.Wide)+len(m.Small)+len(m.Forbidden) > 0 {
				t.Errorf("%s at %d px: %+v", path, screen, m)
			}
		}
		do(t, ctx, chromedp.Navigate(base+"/sign-in"))
		loaded(t, ctx)
		run(t, ctx, chromedp.Evaluate[bool](`(() => { document.querySelector('main form button').click(); return true; })()`))
		do(t, ctx, chromedp.WaitVisible(chromedp.CSS("#problems")))
		for _, v := range axe(t, ctx, script) {
			t.Errorf("signing in with mistakes: %s", v)
		}
	}
}
