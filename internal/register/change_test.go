package register

import (
	"testing"
	"time"
)

// TestChain_IsSHA256OfTheFields holds Chain to digests worked out with another
// program (Python's hashlib and struct) from the layout its comment gives.
func TestChain_IsSHA256OfTheFields(t *testing.T) {
	at := time.UnixMicro(1764072000123456).In(time.FixedZone("", 3600))
	three := int64(3)
	first := Change{
		Seq: 1, At: at, PersonID: 1, Origin: FromPage, Entity: "sites", EntityID: 7, Action: Added,
		After: `{"Name":"Hof"}`, Reason: "weil",
	}
	second := Change{
		Seq: 2, At: at.UTC(), PersonID: 1, Origin: FromImport, ImportID: &three, Entity: "sites", EntityID: 7, Action: Changed,
		Before: `{"Name":"Hof"}`, After: `{"Name":"Höfe"}`,
	}
	const (
		want1 = "6703e83823e6f19b5a7789a95d8d6ef087bf2997eda1a407d36f8def32db3a4d"
		want2 = "3107fe7c42da02caf1733e7f99f29b5a96738884749ece762d98354c76530294"
	)
	if got := Chain("", &first); got != want1 {
		t.Errorf("first row: %s, want %s", got, want1)
	}
	if got := Chain(want1, &second); got != want2 {
		t.Errorf("second row: %s, want %s", got, want2)
	}
}

func TestChain_ChangesWithEveryField(t *testing.T) {
	base := Change{Seq: 4, At: time.UnixMicro(5), PersonID: 6, Origin: "o", Entity: "e", EntityID: 7, Action: Added, Before: "b", After: "a", Reason: "r"}
	one := int64(1)
	seen := map[string]string{Chain("p", &base): "none"}
	for name, change := range map[string]func(*Change){
		"seq": func(c *Change) { c.Seq++ }, "at": func(c *Change) { c.At = c.At.Add(time.Microsecond) },
		"person": func(c *Change) { c.PersonID++ }, "origin": func(c *Change) { c.Origin += "x" },
		"import": func(c *Change) { c.ImportID = &one }, "entity": func(c *Change) { c.Entity += "x" },
		"entity id": func(c *Change) { c.EntityID++ }, "action": func(c *Change) { c.Action = Deleted },
		"before": func(c *Change) { c.Before += "x" }, "after": func(c *Change) { c.After += "x" }, "reason": func(c *Change) { c.Reason += "x" },
		// A letter that moves from one field to the next is a change too.
		"border": func(c *Change) { c.Before, c.After = "", "ba" },
	} {
		c := base
		change(&c)
		h := Chain("p", &c)
		if other, ok := seen[h]; ok {
			t.Errorf("%s and %s give the same hash", name, other)
		}
		seen[h] = name
	}
	if _, ok := seen[Chain("q", &base)]; ok {
		t.Error("the hash before does not matter")
	}
}
