package main

import (
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"hoseward/internal/register"
	"hoseward/web"
)

// verified is a small register in a file.
func verified(t *testing.T) string {
	t.Helper()
	db := filepath.Join(t.TempDir(), "v.db")
	sheet := filepath.Join(t.TempDir(), "machines.csv")
	if err := os.WriteFile(sheet, []byte("site,machine\nDepot,RT-01\nDepot,RT-02\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if code, out, errs := call(t, "", "import", sheet, "--kind", "machines", "--db", db); code != 0 {
		t.Fatalf("%d %s %s", code, out, errs)
	}
	return db
}

func TestVerify_SaysWholeOrWhatIsBroken(t *testing.T) {
	db := verified(t)
	code, out, errs := call(t, "", "verify", "--db", db)
	if code != 0 || errs != "" || !strings.Contains(out, "The change log is whole") || !strings.Contains(out, "Every row of the register is as the log says") {
		t.Fatalf("%d %s %s", code, out, errs)
	}
	head := regexp.MustCompile(`head (\d+:[0-9a-f]{64})`).FindStringSubmatch(out)
	if head == nil {
		t.Fatalf("no head in %s", out)
	}
	for _, h := range []string{head[1], head[1][:len(head[1])-40]} {
		if code, out, _ := call(t, "", "verify", "--db", db, "--head", h); code != 0 || !strings.Contains(out, "still has the head") {
			t.Errorf("--head %s: %d %s", h, code, out)
		}
	}
	other := strings.Split(head[1], ":")[0] + ":" + strings.Repeat("ab", 32)
	if code, out, _ := call(t, "", "verify", "--db", db, "--head", other); code != 1 || !strings.Contains(out, "written anew") {
		t.Errorf("another head: %d %s", code, out)
	}
	for _, bad := range []string{"12", "x:abcabcabcabc", "3:abc", "3:zzzzzzzzzzzzz", "-1:abcabcabcabc"} {
		if code, _, errs := call(t, "", "verify", "--db", db, "--head="+bad); code != 2 || !strings.Contains(errs, "as it is printed") {
			t.Errorf("--head %s: %d %s", bad, code, errs)
		}
	}
	tampered(t, db, "UPDATE machines SET note = 'sound' WHERE id = 2", "DROP TRIGGER changes_are_never_altered", "UPDATE changes SET reason = 'x' WHERE seq = 3")
	code, out, errs = call(t, "", "verify", "--db", db)
	for _, want := range []string{"broken at row 3", "it was altered", "row 2 of machines is not as change", "Note", "changes_are_never_altered"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in %s", want, out)
		}
	}
	if code != 1 || !strings.Contains(errs, "keep the database") {
		t.Errorf("%d %s", code, errs)
	}
	var doc struct {
		Whole  bool
		Broken struct {
			Row  int64
			What string
		}
		RowsDiffer []register.RowFault `json:"rows_differ"`
	}
	code, out, _ = call(t, "", "verify", "--db", db, "--json")
	if err := json.Unmarshal([]byte(out), &doc); err != nil || code != 1 || doc.Whole || doc.Broken.Row != 3 || doc.Broken.What != "altered" || len(doc.RowsDiffer) != 1 {
		t.Errorf("%d %+v, %v", code, doc, err)
	}
}

// tampered runs statements on a register past the program.
func tampered(t *testing.T, db string, statements ...string) {
	t.Helper()
	raw, err := sql.Open("sqlite", db)
	if err != nil {
		t.Fatal(err)
	}
	defer raw.Close()
	for _, q := range statements {
		if _, err := raw.Exec(q); err != nil {
			t.Fatalf("%s: %v", q, err)
		}
	}
}

func TestVerify_MakesNoRegisterWhereNoneIs(t *testing.T) {
	db := filepath.Join(t.TempDir(), "none.db")
	if code, _, errs := call(t, "", "verify", "--db", db); code != 3 || !strings.Contains(errs, "there is no register") {
		t.Errorf("%d %s", code, errs)
	}
	if _, err := os.Stat(db); err == nil {
		t.Error("it made one")
	}
}

// The hash of the manual's worked example is that of its bytes, put together
// here as the page says, and that which the program gives.
func TestManual_TheWorkedExampleOfAHashIsRight(t *testing.T) {
	text, err := os.ReadFile("../../web/manual/72-change-log.md")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := web.Manual(); err != nil {
		t.Fatal(err)
	}
	v := map[string]string{}
	for _, m := range regexp.MustCompile("(?m)^\\| ([a-z_]+) \\| `([^`]*)`").FindAllStringSubmatch(string(text), -1) {
		v[m[1]] = m[2]
	}
	want := regexp.MustCompile("Its hash is `([0-9a-f]{64})`").FindStringSubmatch(string(text))
	if len(v) != 16 || want == nil {
		t.Fatalf("%d values, hash %v", len(v), want)
	}
	at, err := time.Parse(time.RFC3339Nano, v["at"])
	if err != nil || !strings.Contains(string(text), strconv.FormatInt(at.UnixMicro(), 10)) {
		t.Errorf("at %v, %v", at, err)
	}
	num := func(name string) int64 {
		n, err := strconv.ParseInt(v[name], 10, 64)
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		return n
	}
	var b []byte
	number := func(n int64) { b = binary.BigEndian.AppendUint64(b, uint64(n)) }
	words := func(name string) { number(int64(len(v[name]))); b = append(b, v[name]...) }
	words("prev_hash")
	number(num("seq"))
	number(at.UnixMicro())
	number(num("person_id"))
	words("origin")
	number(num("import_id"))
	words("entity")
	number(num("entity_id"))
	for _, name := range []string{"action", "before", "after", "reason"} {
		words(name)
	}
	for _, name := range []string{"act_id", "site_id", "machine_id", "assembly_id"} {
		number(num(name))
	}
	sum := sha256.Sum256(b)
	act, site, machine := num("act_id"), num("site_id"), num("machine_id")
	c := register.Change{
		Seq: num("seq"), At: at, PersonID: num("person_id"), Origin: register.Origin(v["origin"]), Entity: v["entity"], EntityID: num("entity_id"),
		Action: register.Action(v["action"]), After: v["after"], Reason: v["reason"], ActID: &act, SiteID: &site, MachineID: &machine,
	}
	if got := hex.EncodeToString(sum[:]); got != want[1] || register.Chain(v["prev_hash"], &c) != want[1] {
		t.Errorf("by hand %s, by the program %s, on the page %s", got, register.Chain(v["prev_hash"], &c), want[1])
	}
}
