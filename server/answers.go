package server

import (
	"google.golang.org/grpc"

	"pondwright/server/care"
	"pondwright/server/plan"
	"pondwright/server/scribe"
	"pondwright/server/sheet"
	"pondwright/server/state"
	"pondwright/server/survey"
)

// Answers are the services that a server gives beside syncing: the survey, plans,
// care and sheets. The service that measures ponds is handed to use as well, which
// may be nil.
func Answers(use func(*survey.Service)) Service {
	return func(reg grpc.ServiceRegistrar, st *state.State, pen *scribe.Scribe) {
		ponds := survey.NewService(st, Tenant)
		plans := plan.NewService(ponds, st, pen)
		starts := care.NewService(ponds, plans, st, pen.Now)
		for _, s := range []interface{ Register(grpc.ServiceRegistrar) }{ponds, plans, starts, sheet.NewService(ponds, plans, starts)} {
			s.Register(reg)
		}
		if use != nil {
			use(ponds)
		}
	}
}
