package api

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"net/http"
	"reflect"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"hoseward/internal/register"
)

// one is the answer that is one thing.
type one[T any] struct{ Body T }

// read adds an operation that changes nothing.
func read[I, O any](a *API, o op, f func(*call, *I) (O, error)) {
	add(a, o, func(k *call, in *I) (*one[O], error) {
		out, err := f(k, in)
		return &one[O]{out}, err
	})
}

// add adds an operation. An error of f is told as a problem, and given to the
// log.
func add[I, O any](a *API, o op, f func(*call, *I) (*O, error)) {
	a.ops = append(a.ops, o)
	problem := a.huma.OpenAPI().Components.Schemas.Schema(reflect.TypeFor[Problem](), true, "Problem")
	huma.Register(a.huma, huma.Operation{
		// The body was read before, see handle. A deadline set behind that would
		// pass while the answer is worked out; net/http, which reads on to see
		// whether who asked is still there, takes it for a line that broke, and
		// gives up this request and all that follow on the line.
		BodyReadTimeout: -1,

		OperationID: o.id, Method: o.method, Path: o.path, Summary: o.says, Description: strings.TrimSpace(o.more + " Needs the right " + string(o.right) + "."),
		Tags: []string{o.tag}, MaxBodyBytes: maxBody + 2, DefaultStatus: http.StatusOK,
		Responses: map[string]*huma.Response{
			"default": {Description: "It was refused or failed.", Content: map[string]*huma.MediaType{problemType: {Schema: problem}}},
		},
	}, func(ctx context.Context, in *I) (*O, error) {
		k := callOf(ctx)
		out, err := f(k, in)
		if err != nil {
			k.err = err
			return nil, a.problem(err, k.RequestID)
		}
		return out, nil
	})
}

// Write is what every operation that changes something takes beside its own.
type Write struct {
	DryRun bool   `query:"dry_run" doc:"Change nothing and answer what would move."`
	Key    string `header:"Idempotency-Key" minLength:"1" maxLength:"200" doc:"A word of your own for this request, such as a random one: 1 to 200 printable letters. The same request sent again under it within 30 days is not carried out again; its first answer is given again. Without it every request is carried out."`
}

func (w Write) write() Write { return w }

// writes is the input of an operation that changes something.
type writes interface{ write() Write }

// change is what a request asks for.
type change struct {
	cmds []register.Command
	// at is where in the body the command of a number is, such as items[3].;
	// nil where the body is one.
	at func(command int) string
	// names are the fields of the body for the register's, where they differ.
	names map[string]string
	// current is the row as it is now, for who read an older one.
	current func() (any, error)
}

func commands(cmds ...register.Command) change { return change{cmds: cmds} }

// Done is the answer to a change.
type Done struct {
	Codes   []string  `json:"codes" doc:"Codes of the assemblies added, in their order."`
	Changes []Changed `json:"changes" doc:"Every row that was changed, in order; none for a dry run."`
	Stale   int       `json:"stale" minimum:"0" doc:"How many dates are worked out a little later, because the change touched many."`
	Preview *Preview  `json:"preview,omitzero" doc:"What would move; only for a dry run."`
}

// Changed is one row that was changed.
type Changed struct {
	What    string `json:"what" doc:"Kind of row." example:"readings"`
	ID      int64  `json:"id" doc:"Its number, by which it can be corrected or taken back."`
	Did     string `json:"did" enum:"added,changed,deleted" doc:"What was done to it."`
	Version int    `json:"version,omitzero" minimum:"0" doc:"The version it has now; left out if it is gone."`
}

type written struct {
	Replayed string `header:"Idempotent-Replayed" doc:"true where the request was carried out before and this is its first answer."`
	Body     Done
}

// write adds an operation that changes something.
func write[I writes](a *API, o op, f func(*call, *I) (change, error)) {
	add(a, o, func(k *call, in *I) (*written, error) {
		w := (*in).write()
		if err := k.checkKey(w.Key); err != nil {
			return nil, err
		}
		if done, err := k.replayed(w); done != nil || err != nil {
			return done, err
		}
		todo, err := f(k, in)
		if err != nil {
			return nil, err
		}
		if len(todo.cmds) > mostCommands {
			return nil, &register.Error{Code: register.TooLarge, Sentence: fmt.Sprintf("This is %d changes; at most %d are taken at once. Send less at a time.", len(todo.cmds), mostCommands)}
		}
		out, err := a.carryOut(k, w, todo)
		if err != nil {
			return nil, todo.refusal(err)
		}
		return out, nil
	})
}

// mostCommands is how many changes one request may ask for.
const mostCommands = 1000

func (k *call) checkKey(key string) error {
	if key != "" && (!printable(key) || strings.TrimSpace(key) != key || len(key) > 200) {
		return &fieldError{at: "header.Idempotency-Key", says: "A key is 1 to 200 printable letters."}
	}
	return nil
}

// once is the name of a request, by all that was sent.
func (k *call) once(key string) register.Once {
	if key == "" {
		return register.Once{}
	}
	h := sha256.New()
	fmt.Fprintf(h, "%s %s\n", k.method, k.address)
	h.Write(k.body)
	return register.Once{Key: key, Request: hex.EncodeToString(h.Sum(nil))}
}

// replayed is the answer given before, nil if there was none. It is asked
// before anything is read for the change: what was fitted once may not be there
// to be fitted twice.
func (k *call) replayed(w Write) (*written, error) {
	if w.Key == "" || w.DryRun {
		return nil, nil
	}
	said, err := k.Store.Answered(k.ctx, k.now, k.Actor.PersonID, k.once(w.Key))
	if err != nil || !said.Replayed {
		return nil, err
	}
	return again(said)
}

func again(said register.Answer) (*written, error) {
	out := &written{Replayed: "true"}
	if err := json.Unmarshal(said.Body, &out.Body); err != nil {
		return nil, fmt.Errorf("read an answer given before: %w", err)
	}
	return out, nil
}

// carryOut applies what was asked for, or says what it would do.
func (a *API) carryOut(k *call, w Write, todo change) (*written, error) {
	if w.DryRun {
		p, err := k.Store.Preview(k.ctx, k.now, k.Actor, todo.cmds...)
		if err != nil {
			return nil, err
		}
		return &written{Body: Done{Codes: []string{}, Changes: []Changed{}, Preview: previewOf(p)}}, nil
	}
	said, result, err := k.Store.ApplyOnce(k.ctx, k.now, k.Actor, k.once(w.Key), func(r register.Result) (int, []byte, error) {
		body, err := json.Marshal(doneOf(r))
		return http.StatusOK, body, err
	}, todo.cmds...)
	if err != nil {
		return nil, err
	}
	if said.Replayed {
		return again(said)
	}
	a.deps.Nudge(result.Stale)
	return &written{Body: doneOf(result)}, nil
}

func doneOf(r register.Result) Done {
	d := Done{Codes: append([]string{}, r.Codes...), Changes: []Changed{}, Stale: r.Stale}
	for _, row := range r.Rows {
		d.Changes = append(d.Changes, Changed{What: row.Entity, ID: row.ID, Did: string(row.Action), Version: row.Version})
	}
	return d
}
