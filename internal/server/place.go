package server

import "hoseward/internal/register"

// placeRoutes are the forms for sites, kinds, machines, positions, policies and
// how they are worked.
func (s *Server) placeRoutes() []route {
	return []route{
		{get, "/sites", register.RightSee, s.sites},
		{get, "/sites/new", register.RightManage, s.everywhere(s.newSite)},
		{post, "/sites/new", register.RightManage, s.everywhere(s.addSite)},
		{get, "/sites/:name/edit", register.RightManage, s.editSite},
		{post, "/sites/:name/edit", register.RightManage, s.changeSite},
		{get, "/kinds", register.RightSee, s.kinds},
		{get, "/kinds/new", register.RightManage, s.everywhere(s.newKind)},
		{post, "/kinds/new", register.RightManage, s.everywhere(s.addKind)},
		{get, "/kinds/:name", register.RightSee, s.kind},
		{get, "/kinds/:name/edit", register.RightManage, s.everywhere(s.editKind)},
		{post, "/kinds/:name/edit", register.RightManage, s.everywhere(s.changeKind)},
		{get, "/kinds/:name/take", register.RightManage, s.everywhere(s.newTake)},
		{post, "/kinds/:name/take", register.RightManage, s.everywhere(s.takeUsual)},
		{get, "/kinds/:name/order", register.RightManage, s.everywhere(s.editUsualOrder)},
		{post, "/kinds/:name/order", register.RightManage, s.everywhere(s.changeUsualOrder)},
		{get, "/kinds/:name/positions/new", register.RightManage, s.everywhere(s.newUsual)},
		{post, "/kinds/:name/positions/new", register.RightManage, s.everywhere(s.addUsual)},
		{get, "/kinds/:name/positions/:id/edit", register.RightManage, s.everywhere(s.editUsual)},
		{post, "/kinds/:name/positions/:id/edit", register.RightManage, s.everywhere(s.changeUsual)},
		{get, "/kinds/:name/duties/new", register.RightManage, s.everywhere(s.newDuty)},
		{post, "/kinds/:name/duties/new", register.RightManage, s.everywhere(s.addDuty)},
		{get, "/kinds/:name/duties/:id/edit", register.RightManage, s.everywhere(s.editDuty)},
		{post, "/kinds/:name/duties/:id/edit", register.RightManage, s.everywhere(s.changeDuty)},
		{get, "/machines/new", register.RightPlan, s.newMachine},
		{post, "/machines/new", register.RightPlan, s.addMachine},
		{get, "/machines/:code/edit", register.RightPlan, s.editMachine},
		{post, "/machines/:code/edit", register.RightPlan, s.changeMachine},
		{get, "/machines/:code/copy", register.RightPlace, s.newCopy},
		{post, "/machines/:code/copy", register.RightPlace, s.copyPositions},
		{get, "/machines/:code/leave", register.RightPlan, s.newLeave},
		{post, "/machines/:code/leave", register.RightPlan, s.leave},
		{get, "/machines/:code/return", register.RightPlan, s.newReturn},
		{post, "/machines/:code/return", register.RightPlan, s.comeBack},
		{get, "/machines/:code/circuits", register.RightPlace, s.editCircuits},
		{post, "/machines/:code/circuits", register.RightPlace, s.changeCircuits},
		{get, "/machines/:code/order", register.RightPlace, s.editOrder},
		{post, "/machines/:code/order", register.RightPlace, s.changeOrder},
		{get, "/machines/:code/positions/new", register.RightPlace, s.newPosition},
		{post, "/machines/:code/positions/new", register.RightPlace, s.addPosition},
		{get, "/machines/:code/positions/:name/edit", register.RightPlace, s.editPosition},
		{post, "/machines/:code/positions/:name/edit", register.RightPlace, s.changePosition},
		{get, "/machines/:code/positions/:name/end", register.RightPlan, s.newEnd},
		{post, "/machines/:code/positions/:name/end", register.RightPlan, s.endPosition},
		{get, "/machines/:code/conditions/new", register.RightPlan, s.newConditions},
		{post, "/machines/:code/conditions/new", register.RightPlan, s.addConditions},
		{get, "/machines/:code/lay-ups/new", register.RightPlan, s.newLayUp},
		{post, "/machines/:code/lay-ups/new", register.RightPlan, s.addLayUp},
		{get, "/machines/:code/lay-ups/:id/end", register.RightPlan, s.newLayUpEnd},
		{post, "/machines/:code/lay-ups/:id/end", register.RightPlan, s.endLayUp},
		{get, "/policies/new", register.RightManage, s.everywhere(s.newPolicy)},
		{post, "/policies/new", register.RightManage, s.everywhere(s.addPolicy)},
		{get, "/policies/:id/edit", register.RightManage, s.everywhere(s.editPolicy)},
		{post, "/policies/:id/edit", register.RightManage, s.everywhere(s.changePolicy)},
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
