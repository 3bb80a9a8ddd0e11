package main_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"math/rand/v2"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/net/html"

	"hoseward/internal/quantity"
	"hoseward/internal/testkit"
)

// clientWriter is one of many who write through the pages or the API.
type clientWriter struct {
	*client
	at      string // address of the program
	round   int
	number  int
	dice    *rand.Rand
	results *results
}

// sentWrite is a write of a program that was not answered: it is sent again
// when the service is back.
type sentWrite struct {
	client          *client
	mark, path, key string
	body            string
}

// results are what the writers of a round were told.
type results struct {
	mu       sync.Mutex
	done     []string
	pending  []sentWrite
	statuses map[string]int // of what was not done, with what was said
	wants    int            // enough is closed behind so many
	enough   chan struct{}
}

func (r *results) note(do func()) {
	r.mu.Lock()
	defer r.mu.Unlock()
	do()
}

// steps does the writes of a round until the line breaks.
func (w *clientWriter) steps() {
	for n := range stepsARound {
		var err error
		if w.token != "" {
			err = w.program(n)
		} else {
			err = w.person(n)
		}
		if err != nil {
			return // killed
		}
	}
}

// kinds of writes through pages; the API takes all kinds that the writers on
// the store have but for those of many rows by number.
var (
	pageKinds = []writeKind{writeSwap, writeReading, writeLook}
	apiKinds  = []writeKind{writeSwap, writeSwap, writeReading, writeLook, writeHose, writeCorrect}
)

func (w *clientWriter) said(a answer) {
	why := fmt.Sprintf("%d: %s", a.status, firstSentence(a))
	w.results.note(func() { w.results.statuses[why]++ })
}

// firstSentence is what an answer says, in short.
func firstSentence(a answer) string {
	var problem struct{ Detail string }
	if json.Unmarshal([]byte(a.body), &problem) == nil && problem.Detail != "" {
		return problem.Detail
	}
	doc, err := html.Parse(strings.NewReader(a.body))
	if err != nil {
		return ""
	}
	for _, selector := range []string{".problems", ".verdict", "h1"} {
		if found := testkit.Find(doc, selector); len(found) > 0 {
			return testkit.TextOf(found[0])
		}
	}
	return ""
}

// program does one write through the API under a key of its own.
func (w *clientWriter) program(n int) error {
	kind := apiKinds[w.dice.IntN(len(apiKinds))]
	m := mark(kind, w.round, w.number, n)
	path, body, err := w.request(kind, m, dayOf(w.round, w.number, n))
	if err != nil || path == "" {
		return err
	}
	text, err := json.Marshal(body)
	if err != nil {
		return err
	}
	method, path, _ := strings.Cut(path, " ")
	a, err := w.send(method, w.at+path, asJSON, "key-"+m, string(text))
	switch {
	case err != nil:
		w.results.note(func() {
			w.results.pending = append(w.results.pending, sentWrite{w.client, m, method + " " + path, "key-" + m, string(text)})
		})
		return err
	case a.done():
		w.results.carriedOut(m)
	default:
		w.said(a)
	}
	return nil
}

type object = map[string]any

// request is the method with the path and the body of a write through the API;
// an empty path where an answer on the way was a refusal.
func (w *clientWriter) request(kind writeKind, m string, on quantity.Date) (path string, body object, err error) {
	machine, position := url.PathEscape(faultMachine(w.number)), url.PathEscape(faultPosition(w.number))
	at, day := "POST /api/v1/machines/"+machine, on.String()
	hose := object{"site": "Depot", "code": codeOf(m), "designation": "EN 853 2SN", "dn": 12, "dash": 8, "rated_bar": 275, "note": m, "made": "2024-05", "assembled": "2024-06"}
	switch kind {
	case writeReading:
		return at + "/readings", object{"on": day, "hours": faultHours(on), "note": m}, nil
	case writeLook:
		return at + "/positions/" + position + "/inspections", object{"on": day, "by": "N. Ott", "verdict": "found", "note": m, "findings": []object{
			{"number": 3, "class": "replace", "place": "end A"}, {"number": 15, "class": "correct"},
		}}, nil
	case writeHose:
		return "POST /api/v1/assemblies", hose, nil
	}
	var there struct {
		Assembly string
		Version  int
		object
	}
	a, err := w.send(http.MethodGet, w.at+"/api/v1/machines/"+machine+"/positions/"+position, "", "", "")
	if err != nil || !decoded(a, &there) {
		return "", nil, err
	}
	if kind == writeSwap {
		return at + "/positions/" + position + "/swap", object{"on": day, "new": hose, "off": object{
			"assembly": there.Assembly, "cause": "pressure", "found_by": "event", "scrapped": false,
		}}, nil
	}
	var sits object
	a, err = w.send(http.MethodGet, w.at+"/api/v1/assemblies/"+url.PathEscape(there.Assembly), "", "", "")
	if err != nil || !decoded(a, &sits) {
		return "", nil, err
	}
	for _, not := range []string{"$schema", "id", "site", "status", "machine", "position", "fitted", "scrapped_on", "scrapped_reason"} {
		delete(sits, not)
	}
	sits["note"] = m
	return "PUT /api/v1/assemblies/" + url.PathEscape(there.Assembly), sits, nil
}

func decoded(a answer, to any) bool {
	return a.status == http.StatusOK && json.Unmarshal([]byte(a.body), to) == nil
}

// person does one write through the pages, as a browser without script does.
func (w *clientWriter) person(n int) error {
	kind := pageKinds[w.dice.IntN(len(pageKinds))]
	m, day := mark(kind, w.round, w.number, n), dayOf(w.round, w.number, n)
	machine, position := url.PathEscape(faultMachine(w.number)), faultPosition(w.number)
	path := w.at + "/machines/" + machine
	typed := url.Values{"on": {day.String()}, "note": {m}}
	switch kind {
	case writeReading:
		path += "/readings/new"
		typed.Set("hours", fmt.Sprint(faultHours(day)))
	case writeLook:
		path += "/inspections/new"
		for name, v := range map[string]string{"position": position, "by": "N. Ott", "verdict": "found", "kind-1": "3", "kind-2": "15"} {
			typed.Set(name, v)
		}
	case writeSwap:
		path += "/swap?position=" + url.QueryEscape(position)
		a, err := w.send(http.MethodGet, path, "", "", "")
		if err != nil {
			return err
		}
		for name, v := range map[string]string{"cause": "pressure", "found_by": "event", "went": "in store", "code": codeOf(m), "designation": "EN 853 2SN", "size": "DN 12", "rated": "275", "made": "2024-05", "assembled": "2024-06"} {
			typed.Set(name, v)
		}
		for _, hidden := range []string{"once", "old"} {
			typed.Set(hidden, hiddenValue(a.body, hidden))
		}
	}
	for range 4 { // it may show what is to be looked at first
		a, err := w.send(http.MethodPost, path, asForm, "", typed.Encode())
		if err != nil {
			return err
		}
		if a.done() {
			w.results.carriedOut(m)
			return nil
		}
		more := false
		for _, told := range []string{"checked", "told", "layline_seen"} {
			if v := hiddenValue(a.body, told); v != "" && v != typed.Get(told) {
				typed.Set(told, v)
				more = true
			}
		}
		if a.status != http.StatusOK || !more {
			w.said(a)
			return nil
		}
	}
	return nil
}

// hiddenValue is the value of a hidden field of a page.
func hiddenValue(page, name string) string {
	doc, err := html.Parse(strings.NewReader(page))
	if err != nil {
		return ""
	}
	for _, found := range testkit.Find(doc, "input[name="+name+"]") {
		return testkit.AttrOf(found, "value")
	}
	return ""
}

// roundOf lets 500 clients write to a program and kills it at a moment.
func (g *ground) roundOf(p *program, clients []*client, round int, dice *rand.Rand, at moment) *results {
	r := &results{statuses: map[string]int{}, enough: make(chan struct{}), wants: at.writes}
	var all sync.WaitGroup
	for n, c := range clients {
		w := &clientWriter{client: c, at: p.address, round: round, number: n, dice: rand.New(rand.NewPCG(dice.Uint64(), uint64(n))), results: r}
		all.Go(w.steps)
	}
	select {
	case <-r.enough:
	case <-time.After(atMost):
	}
	time.Sleep(at.more)
	p.kill()
	all.Wait()
	return r
}

// carriedOut notes a write that was acknowledged.
func (r *results) carriedOut(m string) {
	r.note(func() {
		r.done = append(r.done, m)
		if len(r.done) == r.wants+1 {
			close(r.enough)
		}
	})
}

// again sends what was not answered once more under the same keys.
func (r *results) again(t *testing.T, address string) {
	t.Helper()
	var all sync.WaitGroup
	for _, w := range r.pending {
		all.Go(func() {
			method, path, _ := strings.Cut(w.path, " ")
			a, err := w.client.send(method, address+path, asJSON, w.key, w.body)
			r.note(func() {
				switch {
				case err != nil:
					t.Errorf("%s sent again: %v", w.mark, err)
				case a.done():
					r.done = append(r.done, w.mark)
				default:
					r.statuses[fmt.Sprintf("sent again %d: %s", a.status, firstSentence(a))]++
				}
			})
		})
	}
	all.Wait()
}

// The program killed at any moment while 500 clients write through its pages
// and its API: what was answered is there, once and whole; what was not
// answered is sent again under the same key and is then there, once.
func TestFaults_ServiceKilledAmongClientsNothingIsLostOrTwice(t *testing.T) {
	onEngines(t, func(t *testing.T, engine string) {
		rounds, dice, g := testkit.FaultRounds(t, fewRounds), testkit.Dice(t), newGround(t, engine)
		g.people(t)
		var clients []*client
		for n := range faultWriters {
			clients = append(clients, g.newClient(n))
		}
		var dsn string
		var acked []string
		written, missing, again, statuses := 0, 0, 0, map[string]int{}
		for round := range rounds {
			if round%roundsAFleet == 0 {
				dsn, acked = g.register(t), nil
			}
			p := start(t, serving(dsn, t.TempDir())...)
			if p.address == "" {
				t.Fatalf("the program did not start in round %d: %s", round, p.said.String())
			}
			r := g.roundOf(p, clients, round%roundsAFleet, dice, anyMoment(dice))
			missing += marks(t, dsn).held(t, append(slices.Clone(acked), r.done...))
			written += len(r.done)
			again += len(r.pending)

			p = start(t, serving(dsn, t.TempDir())...)
			r.again(t, p.address)
			p.kill()
			acked = append(acked, r.done...)
			missing += marks(t, dsn).held(t, acked)
			sound(t, dsn)
			for why, n := range r.statuses {
				statuses[why] += n
			}
			if t.Failed() {
				t.Fatalf("in round %d", round)
			}
		}
		t.Logf("%d rounds of %d clients: %d acknowledged writes, %d sent again, %d missing", rounds, faultWriters, written, again, missing)
		for _, why := range slices.Sorted(maps.Keys(statuses)) {
			t.Logf("%d times %s", statuses[why], why)
			if strings.HasPrefix(why, "500:") || strings.HasPrefix(why, "499:") {
				t.Errorf("an error that nobody foresaw: %s", why)
			}
		}
		if written == 0 {
			t.Error("nothing was written")
		}
	})
}
