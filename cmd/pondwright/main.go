// Command pondwright takes a pond from soundings to a plan for its aeration. Run
// it without arguments for its commands; the README shows the usual ones.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"

	"github.com/spf13/cobra"
)

// Exit statuses.
const (
	exitDone   = 0
	exitFailed = 1 // refused or failed
	exitUsage  = 2 // wrong flags or arguments
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	m := Main{Out: os.Stdout, Err: os.Stderr}
	status := m.Run(ctx, os.Args[1:])
	stop()
	os.Exit(status)
}

// Main is the program, separate from the process so that tests run it whole.
type Main struct {
	Out io.Writer // results
	Err io.Writer // progress, warnings and errors

	units unitSystem
}

// failure marks an error of the work itself, as against one of usage.
type failure struct{ error }

func (f failure) Unwrap() error { return f.error }

// Run executes the program with the given arguments and returns its exit status.
func (m *Main) Run(ctx context.Context, args []string) int {
	root := m.command()
	root.SetArgs(args)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return exitDone
	}
	if f := (failure{}); errors.As(err, &f) {
		if errors.Is(err, context.Canceled) {
			fmt.Fprintln(m.Err, "pondwright: stopped")
			return exitFailed
		}
		fmt.Fprintf(m.Err, "pondwright: %s\n", m.units.says(err))
		return exitFailed
	}
	fmt.Fprintf(m.Err, "pondwright: %v\nRun '%s --help' for how to use it.\n", err, commandPath(root, args))
	return exitUsage
}

// commandPath names the command that the arguments picked, from the program on.
func commandPath(root *cobra.Command, args []string) string {
	if c, _, err := root.Find(args); err == nil {
		return c.CommandPath()
	}
	return root.CommandPath()
}

func (m *Main) command() *cobra.Command {
	root := &cobra.Command{
		Use:           "pondwright",
		Short:         "From soundings to a plan that turns a pond over once a day",
		Long:          "pondwright takes depths logged from a boat to a depth surface, a volume with an honest\ninterval, and a plan for bottom aeration: where the diffusers go, what the hoses cost\nin pressure, and whether the air is enough.",
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          cobra.NoArgs,
		RunE:          func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	root.SetOut(m.Out)
	root.SetErr(m.Err)
	root.CompletionOptions.HiddenDefaultCmd = true
	root.PersistentFlags().Var(&m.units, "units", "units of prose and drawings: us or si (data is always SI)")
	for _, c := range []*cobra.Command{
		m.demoCommand(), m.addCommand(), m.verdictCommand(), m.syncCommand(), m.followCommand(), m.statusCommand(), m.disputesCommand(), m.photosCommand(), m.serveCommand(),
		m.inviteCommand(), m.joinCommand(), m.devicesCommand(), m.guessCommand(), m.transectsCommand(), m.measureCommand(), m.stagesCommand(), m.partCommand(), m.changeCommand(), m.contoursCommand(), m.planCommand(), m.plansCommand(),
		m.noteCommand(), m.careCommand(), m.calcCommand(),
	} {
		root.AddCommand(failing(c))
	}
	return root
}

// failing marks what goes wrong in a command as a failure of the work.
func failing(c *cobra.Command) *cobra.Command {
	run := c.RunE
	c.RunE = func(c *cobra.Command, args []string) error {
		err := run(c, args)
		if err == nil || errors.As(err, new(usageError)) {
			return err
		}
		return failure{err}
	}
	return c
}

// require marks flags that a command cannot do without.
func require(c *cobra.Command, flags ...string) {
	for _, name := range flags {
		if err := c.MarkFlagRequired(name); err != nil {
			panic(err) //nolint:forbidigo // names a flag that the command does not have: a bug, not input
		}
	}
}

// usageError is an error in how the program was called that only a command can
// tell.
type usageError struct{ error }

func usagef(format string, args ...any) error { return usageError{fmt.Errorf(format, args...)} }
