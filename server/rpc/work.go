package rpc

import (
	"context"
	"errors"
	"time"

	"lotwright/layout"
)

// assemble makes a lot of what came over the wire.
func (s *Server) assemble(l lot) (item Item) {
	err := s.recovered("Assemble", func() error {
		item = s.options.Assemble(l.id, l.features)
		return nil
	})
	if err != nil {
		return Item{Refused: failed(l.id, err)}
	}
	if item.Lot != nil {
		item.Lot.Supply = l.supply.Or(item.Lot.Supply)
	}
	return item
}

// assembleEdited makes a lot, and an edited design of it, of what came over the
// wire.
func (s *Server) assembleEdited(l lot, edited string) (item Item) {
	err := s.recovered("AssembleEdited", func() error {
		item = s.options.AssembleEdited(l.id, l.features, edited)
		return nil
	})
	if err != nil {
		return Item{Refused: failed(l.id, err)}
	}
	if item.Lot != nil {
		item.Lot.Supply = l.supply.Or(item.Lot.Supply)
	}
	return item
}

// item is the i-th lot of a source.
func (s *Server) item(source Source, i int) (item Item) {
	err := s.recovered("Source.Lot", func() error {
		item = source.Lot(i)
		return nil
	})
	if err != nil {
		return Item{Refused: failed(source.ID(i), err)}
	}
	return item
}

// design designs an item. Whatever happens, a design comes back.
func (s *Server) design(ctx context.Context, item Item, settings Settings) (d *layout.Design) {
	began := time.Now()
	defer func() {
		if ctx.Err() == nil {
			s.metrics.designed(d, time.Since(began))
		}
	}()
	if item.Lot == nil {
		return item.Refused
	}
	ctx, span := s.options.Tracer.Start(s.watching(ctx), "lot")
	defer span.End()
	return s.worked(ctx, item.Lot, "Design", func() (*layout.Design, error) { return s.options.Design(ctx, item.Lot, settings) })
}

// recheck works out the edited design of an item. Whatever happens, a design
// comes back.
func (s *Server) recheck(ctx context.Context, item Item, settings Settings) *layout.Design {
	if item.Lot == nil {
		return item.Refused
	}
	return s.worked(ctx, item.Lot, "Recheck", func() (*layout.Design, error) {
		return s.options.Recheck(ctx, item.Lot, item.Edited, settings)
	})
}

// worked returns what work comes to, or a failed design.
func (s *Server) worked(ctx context.Context, lot *layout.Lot, name string, work func() (*layout.Design, error)) (d *layout.Design) {
	err := s.recovered(name, func() (err error) {
		if d, err = work(); err == nil && d == nil {
			err = errNoDesign
		}
		return err
	})
	if err != nil {
		if ctx.Err() == nil && !errors.Is(err, errPanic) { // a panic is in the log already
			s.options.Log.Error("design failed", "lot", lot.ID, "error", err.Error())
		}
		d = failed(lot.ID, err)
	}
	return d
}

var errNoDesign = errors.New("the design gave neither result nor error")

// encoded returns what encode makes of d or, where it panics, of a failed
// design in its place.
func encoded[R any](s *Server, d *layout.Design, encode func(*layout.Design) R) (r R) {
	err := s.recovered("encode", func() error {
		r = encode(d)
		return nil
	})
	if err != nil {
		r = encode(failed(d.LotID, err))
	}
	return r
}

// failed is the design of a lot that the program, not the lot, is to blame for.
// Of a panic nothing is told; its stack is in the log.
func failed(id string, err error) *layout.Design {
	reason := err.Error()
	if errors.Is(err, errPanic) {
		reason = "internal error; the server's log has the details"
	}
	return &layout.Design{LotID: id, Status: layout.StatusFailed, Reason: reason, Proof: layout.Proof{Kind: layout.ProofNone}}
}
