package server

// placeRoutes are the forms for sites, kinds, machines, positions, policies and
// how they are worked.
func (s *Server) placeRoutes() []route {
	return []route{
		{get, "/sites", see, s.sites},
		{get, "/sites/new", see, s.newSite},
		{post, "/sites/new", manage, s.addSite},
		{get, "/sites/:name/edit", see, s.editSite},
		{post, "/sites/:name/edit", manage, s.changeSite},
		{get, "/kinds", see, s.kinds},
		{get, "/kinds/new", see, s.newKind},
		{post, "/kinds/new", manage, s.addKind},
		{get, "/kinds/:name", see, s.kind},
		{get, "/kinds/:name/edit", see, s.editKind},
		{post, "/kinds/:name/edit", manage, s.changeKind},
		{get, "/kinds/:name/take", see, s.newTake},
		{post, "/kinds/:name/take", manage, s.takeUsual},
		{get, "/kinds/:name/order", see, s.editUsualOrder},
		{post, "/kinds/:name/order", manage, s.changeUsualOrder},
		{get, "/kinds/:name/positions/new", see, s.newUsual},
		{post, "/kinds/:name/positions/new", manage, s.addUsual},
		{get, "/kinds/:name/positions/:id/edit", see, s.editUsual},
		{post, "/kinds/:name/positions/:id/edit", manage, s.changeUsual},
		{get, "/kinds/:name/duties/new", see, s.newDuty},
		{post, "/kinds/:name/duties/new", manage, s.addDuty},
		{get, "/kinds/:name/duties/:id/edit", see, s.editDuty},
		{post, "/kinds/:name/duties/:id/edit", manage, s.changeDuty},
		{get, "/machines/new", see, s.newMachine},
		{post, "/machines/new", record, s.addMachine},
		{get, "/machines/:code/edit", see, s.editMachine},
		{post, "/machines/:code/edit", record, s.changeMachine},
		{get, "/machines/:code/copy", see, s.newCopy},
		{post, "/machines/:code/copy", record, s.copyPositions},
		{get, "/machines/:code/leave", see, s.newLeave},
		{post, "/machines/:code/leave", record, s.leave},
		{get, "/machines/:code/return", see, s.newReturn},
		{post, "/machines/:code/return", record, s.comeBack},
		{get, "/machines/:code/circuits", see, s.editCircuits},
		{post, "/machines/:code/circuits", record, s.changeCircuits},
		{get, "/machines/:code/order", see, s.editOrder},
		{post, "/machines/:code/order", record, s.changeOrder},
		{get, "/machines/:code/positions/new", see, s.newPosition},
		{post, "/machines/:code/positions/new", record, s.addPosition},
		{get, "/machines/:code/positions/:name/edit", see, s.editPosition},
		{post, "/machines/:code/positions/:name/edit", record, s.changePosition},
		{get, "/machines/:code/positions/:name/end", see, s.newEnd},
		{post, "/machines/:code/positions/:name/end", record, s.endPosition},
		{get, "/machines/:code/conditions/new", see, s.newConditions},
		{post, "/machines/:code/conditions/new", record, s.addConditions},
		{get, "/machines/:code/lay-ups/new", see, s.newLayUp},
		{post, "/machines/:code/lay-ups/new", record, s.addLayUp},
		{get, "/machines/:code/lay-ups/:id/end", see, s.newLayUpEnd},
		{post, "/machines/:code/lay-ups/:id/end", record, s.endLayUp},
		{get, "/policies/new", see, s.newPolicy},
		{post, "/policies/new", manage, s.addPolicy},
		{get, "/policies/:id/edit", see, s.editPolicy},
		{post, "/policies/:id/edit", manage, s.changePolicy},
	}
}

// What the forms for places say was done.
const (
	siteAdded       = "site-added"
	siteChanged     = "site-changed"
	kindAdded       = "kind-added"
	kindChanged     = "kind-changed"
	usualAdded      = "usual-added"
	usualChanged    = "usual-changed"
	usualGone       = "usual-gone"
	usualTaken      = "usual-taken"
	dutySet         = "duty-set"
	dutyGone        = "duty-gone"
	machineChanged  = "machine-changed"
	machineGone     = "machine-gone"
	machineBack     = "machine-back"
	positionsCopied = "positions-copied"
	positionAdded   = "position-added"
	positionChanged = "position-changed"
	positionEnded   = "position-ended"
	circuitsChanged = "circuits-changed"
	orderSaved      = "order-saved"
	conditionsSet   = "conditions-set"
	layUpNoted      = "lay-up-noted"
	layUpEnded      = "lay-up-ended"
	policyAdded     = "policy-added"
	policyChanged   = "policy-changed"
)

// placeDone is the sentence of a word for what a form of these did.
func placeDone(word string) string {
	return map[string]string{
		siteAdded:       "The site is in the register. Next, add its machines.",
		siteChanged:     "The site is changed.",
		kindAdded:       "The kind of machine is in the register. Next, say which positions its machines usually have.",
		kindChanged:     "The kind of machine has its new name.",
		usualAdded:      "The usual position is added. New machines of this kind start with it.",
		usualChanged:    "The usual position is changed. Machines that are there already keep theirs.",
		usualGone:       "The position is off the list of usual ones. Machines that have it keep it.",
		usualTaken:      "The positions of that machine are now the usual ones of its kind.",
		dutySet:         "The duty is saved. The dates it moves are worked out anew.",
		dutyGone:        "The duty is taken away. The dates it moves are worked out anew.",
		machineChanged:  "The machine is changed. The dates this moves are worked out anew.",
		machineGone:     "The machine has left the fleet. It stands on no list any more; this page keeps its history.",
		machineBack:     "The machine is in the fleet again. Note what is fitted at its positions now.",
		positionsCopied: "The positions this machine lacked are added. Next, add the hoses at them.",
		positionAdded:   "The position is added.",
		positionChanged: "The position is changed. The dates this moves are worked out anew.",
		positionEnded:   "The position is ended. What was fitted there stays in the life story of its assemblies.",
		circuitsChanged: "The circuits are saved. The dates this moves are worked out anew.",
		orderSaved:      "The walking order is saved.",
		conditionsSet:   "How it is worked is saved. The dates this moves are worked out anew.",
		layUpNoted:      "The time out of use is noted. No running hours count in it.",
		layUpEnded:      "The machine is back in use.",
		policyAdded:     "The policy is in the register. Next, give it to a site or to positions.",
		policyChanged:   "The policy is changed. The dates it moves are worked out anew.",
	}[word]
}
