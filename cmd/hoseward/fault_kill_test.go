package main_test

import (
	"bufio"
	"bytes"
	"context"
	"math/rand/v2"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"hoseward/internal/store"
	"hoseward/internal/testkit"
)

// fewRounds is how many rounds of kills an ordinary run of the tests goes.
const fewRounds = 2

// ground is where rounds of faults take place: registers with the fleet in
// them, on one engine.
type ground struct {
	engine string
	server *testkit.DurablePostgres // nil on SQLite
	first  string                   // the register that the others are copies of
	// Who may write: the cookies of people who are signed in, and the tokens of
	// programs.
	cookies []*http.Cookie
	tokens  []string
}

func newGround(t *testing.T, engine string) *ground {
	t.Helper()
	g := &ground{engine: engine}
	if engine == store.Postgres {
		g.server = testkit.StartDurablePostgres(t)
		g.first = g.server.Address(t)
	} else {
		g.first = filepath.Join(t.TempDir(), "first.db")
	}
	ctx := context.Background()
	reg, err := store.Open(ctx, g.first, store.Options{Migrate: true})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := reg.Apply(ctx, faultNoon, faultActor, faultFleet()...); err != nil {
		t.Fatal(err)
	}
	if _, err := reg.ReestimateAll(ctx, faultNoon, nil); err != nil {
		t.Fatal(err)
	}
	if err := reg.Close(); err != nil {
		t.Fatal(err)
	}
	return g
}

// register is the address of a new register with the fleet in it.
func (g *ground) register(t *testing.T) string {
	t.Helper()
	if g.server != nil {
		return g.server.CopyOf(t, g.first)
	}
	path := filepath.Join(t.TempDir(), "register.db")
	content, err := os.ReadFile(g.first)
	if err == nil {
		err = os.WriteFile(path, content, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	return path
}

// onEngines runs a test of faults on each engine.
func onEngines(t *testing.T, f func(t *testing.T, engine string)) {
	t.Helper()
	for _, engine := range []string{store.SQLite, store.Postgres} {
		t.Run(engine, func(t *testing.T) { f(t, engine) })
	}
}

// told is what the writers said.
type told struct {
	done    []string       // the marks of what was carried out
	after   int            // how many of them behind the call of again
	refused map[string]int // by the register, by what it said
	trouble map[string]int // by what they were told
	strange []string       // what nobody foresaw
}

func (a *told) add(b told) {
	a.done, a.after, a.strange = append(a.done, b.done...), a.after+b.after, append(a.strange, b.strange...)
	for _, m := range []struct{ to, from *map[string]int }{{&a.refused, &b.refused}, {&a.trouble, &b.trouble}} {
		if *m.to == nil {
			*m.to = map[string]int{}
		}
		for why, n := range *m.from {
			(*m.to)[why] += n
		}
	}
}

// log says in the log of a test what the writers said.
func (a *told) log(t *testing.T) {
	t.Helper()
	for word, all := range map[string]map[string]int{"refused": a.refused, "told": a.trouble} {
		for why, n := range all {
			t.Logf("%s %d times: %s", word, n, why)
		}
	}
	for _, s := range a.strange {
		t.Errorf("an error that nobody foresaw: %s", s)
	}
}

// moment is when a fault happens: after so many writes were acknowledged and a
// while more. A machine that is busy with other things may be too slow for
// that; then it happens after atMost.
type moment struct {
	writes int
	more   time.Duration
}

const atMost = 20 * time.Second

// worksAgain is how many writes show that it does.
const worksAgain = 50

func anyMoment(dice *rand.Rand) moment {
	return moment{dice.IntN(400), time.Duration(dice.IntN(20)) * time.Millisecond}
}

// writersUntil lets the writers of a round write up to a moment, and then does
// the fault, which kills them in the end. again notes that all works again, and
// says when so much was written that it does.
func writersUntil(t *testing.T, dsn string, round int, dice uint64, at moment, fault func(again func() (enough <-chan struct{}), kill func())) told {
	t.Helper()
	cmd := testkit.Again(t, asWriters, dsn, strconv.Itoa(round), strconv.FormatUint(dice, 10), strconv.Itoa(faultWriters))
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	all := told{refused: map[string]int{}, trouble: map[string]int{}}
	var again atomic.Bool
	var once, works sync.Once
	enough := make(chan struct{})
	faulted := make(chan struct{})
	begin := func() {
		once.Do(func() {
			go func() {
				defer close(faulted)
				time.Sleep(at.more)
				fault(func() <-chan struct{} { again.Store(true); return enough }, func() { _ = cmd.Process.Kill() })
			}()
		})
	}
	late := time.AfterFunc(atMost, begin)
	defer late.Stop()
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		all.take(lines.Text(), again.Load())
		if len(all.done) >= at.writes {
			begin()
		}
		if all.after == worksAgain {
			works.Do(func() { close(enough) })
		}
	}
	begin() // they all ended before
	if err := cmd.Wait(); err != nil && stderr.Len() > 0 {
		t.Fatalf("the writers said: %s", stderr.String())
	}
	<-faulted
	return all
}

// take takes a line that a writer said.
func (a *told) take(line string, again bool) {
	word, rest, _ := strings.Cut(line, " ")
	m, why, _ := strings.Cut(rest, " ")
	switch word {
	case "done":
		a.done = append(a.done, m)
		if again {
			a.after++
		}
	case "refused":
		why, _, _ = strings.Cut(why, ":") // the code and the field
		a.refused[why]++
	case "trouble":
		a.trouble[why]++
	case "strange":
		a.strange = append(a.strange, rest)
	}
}

// Killed at any moment of 500 writers at once, the register has all that was
// acknowledged and nothing by half.
func TestFaults_KilledAmongManyNothingIsLostOrHalf(t *testing.T) {
	onEngines(t, func(t *testing.T, engine string) {
		rounds, dice, g := testkit.FaultRounds(t, fewRounds), testkit.Dice(t), newGround(t, engine)
		missing, dsn := 0, ""
		var all, here told
		for round := range rounds {
			if round%roundsAFleet == 0 {
				dsn, here = g.register(t), told{}
			}
			said := writersUntil(t, dsn, round%roundsAFleet, dice.Uint64(), anyMoment(dice), func(_ func() <-chan struct{}, kill func()) { kill() })
			all.add(said)
			here.add(said)
			missing += marks(t, dsn).held(t, here.done)
			sound(t, dsn)
			if t.Failed() {
				t.Fatalf("in round %d", round)
			}
		}
		t.Logf("%d rounds of %d writers: %d acknowledged writes, %d missing", rounds, faultWriters, len(all.done), missing)
		all.log(t)
		if len(all.done) == 0 {
			t.Error("nothing was written")
		}
	})
}

// PostgreSQL killed or stopped among 500 writers: what was told to be saved is,
// what was told not to be is not, and once the server is back the writers go on
// by themselves.
func TestFaults_PostgresGoesAndComesBackAmongMany(t *testing.T) {
	rounds, dice, g := max(3, testkit.FaultRounds(t, 3)/5), testkit.Dice(t), newGround(t, store.Postgres)
	missing := 0
	var all told
	ways := []struct {
		name string
		stop func()
	}{
		{"killed", func() { g.server.Kill(t) }},
		{"stopped at once", func() { g.server.Stop(t, testkit.Immediate) }},
		{"stopped in order", func() { g.server.Stop(t, testkit.Fast) }},
	}
	for round := range rounds {
		dsn, way := g.register(t), ways[round%len(ways)]
		said := writersUntil(t, dsn, 0, dice.Uint64(), anyMoment(dice), func(again func() <-chan struct{}, kill func()) {
			way.stop()
			g.server.Start(t)
			select {
			case <-again():
			case <-time.After(2 * atMost):
			}
			kill()
		})
		all.add(said)
		missing += marks(t, dsn).held(t, said.done)
		sound(t, dsn)
		if said.after == 0 {
			t.Errorf("nothing was written after the server came back")
		}
		if t.Failed() {
			t.Fatalf("in round %d: %s", round, way.name)
		}
	}
	t.Logf("%d rounds of %d writers: %d acknowledged writes, %d of them after the server was back, %d missing", rounds, faultWriters, len(all.done), all.after, missing)
	all.log(t)
}
