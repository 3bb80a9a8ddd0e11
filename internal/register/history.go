package register

import "time"

// ChangeFilter chooses rows of the change log. Zero fields choose nothing.
type ChangeFilter struct {
	PersonID    int64
	Origin      Origin
	From, Until time.Time // of At: not before From, before Until
	SiteID      int64
	MachineID   int64
	AssemblyID  int64
	Entity      string
	EntityID    int64 // of Entity
	Action      Action
	Reason      string // a text in the reason, whatever its case
	ActID       int64
	ImportID    int64
	// People takes in what was changed about people, their roles, tokens and
	// devices, which is for those who manage all sites.
	People bool
	// Before is a cursor: rows older than that number; 0 begins at the newest.
	Before int64
	Limit  int // 0 means 100; at most 1000
}

// ChangePage is some rows of the change log, newest first, and the names of
// what they speak of.
type ChangePage struct {
	Changes []Change
	Names   Names
	Next    int64 // cursor of the rows behind these; 0 where there are none
}

// Names are what people call rows, by table and id: what is not in it is not
// there any more, or not to be seen.
type Names map[string]map[int64]Name

// Name is what people call a row.
type Name struct {
	Text string
	// Machine is the code of the machine it belongs to, where it is called by a
	// name on that machine.
	Machine string
}

// Of is the name of a row.
func (n Names) Of(table string, id int64) (Name, bool) {
	name, ok := n[table][id]
	return name, ok
}

// History is what the changes of one thing are found by.
type History struct {
	Entity string // table name
	ID     int64
	// Before and Limit are as in ChangeFilter.
	Before int64
	Limit  int
}
