package main

import (
	"fmt"

	"github.com/spf13/cobra"
)

func cacheCommand() *cobra.Command {
	var f cacheFlags
	cmd := &cobra.Command{
		Use:   "cache",
		Short: "Look at, prove or shrink the cache; deleting it loses time, never data",
		Args:  cobra.NoArgs,
		RunE:  func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(cacheSize(&f), cacheCheck(&f), cacheTrim(&f))
	for _, c := range cmd.Commands() {
		f.add(c)
	}
	return cmd
}

func cacheSize(f *cacheFlags) *cobra.Command {
	return &cobra.Command{
		Use:   "size",
		Short: "Say how much the cache holds",
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			c, err := f.open(cmd.Context(), cmd.ErrOrStderr())
			if err != nil {
				return err
			}
			defer c.Close()
			u, err := c.Size()
			if err != nil {
				return err
			}
			w := cmd.OutOrStdout()
			fmt.Fprintf(w, "%s on disk\n", bytesText(u.Total()))
			fmt.Fprintf(w, "  %6d results of parts\n", u.Actions)
			fmt.Fprintf(w, "  %6d small values, %s\n", u.Values, bytesText(u.SmallBytes))
			fmt.Fprintf(w, "  %6d pictures and other large values, %s\n", u.Blobs, bytesText(u.BlobBytes))
			fmt.Fprintf(w, "  %6d files remembered by their stamps\n", u.Stamps)
			fmt.Fprintf(w, "  journal %s, index %s\n", bytesText(u.JournalBytes), bytesText(u.IndexBytes))
			return nil
		},
	}
}

func cacheCheck(f *cacheFlags) *cobra.Command {
	return &cobra.Command{
		Use:   "check",
		Short: "Read everything in the cache again and list every fault",
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			c, err := f.open(cmd.Context(), cmd.ErrOrStderr())
			if err != nil {
				return err
			}
			defer c.Close()
			faults, err := c.Check(cmd.Context(), nil)
			if err != nil {
				return err
			}
			for _, fault := range faults {
				fmt.Fprintln(cmd.OutOrStdout(), fault)
			}
			if len(faults) > 0 {
				fmt.Fprintf(cmd.ErrOrStderr(), "plenilune: %d faults; what is damaged is computed again when it is needed\n", len(faults))
				return &toldError{exitFailed}
			}
			u, err := c.Size()
			if err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "no faults in %d entries, %s\n", u.Entries(), bytesText(u.Total()))
			return nil
		},
	}
}

func cacheTrim(f *cacheFlags) *cobra.Command {
	var to string
	cmd := &cobra.Command{
		Use:   "trim --to SIZE",
		Short: "Drop what was not used for longest until the cache is no larger than SIZE",
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if to == "" {
				return requestf("cache trim: say how large the cache may stay, as in --to 20GB")
			}
			size, err := parseBytes("--to", to)
			if err != nil {
				return err
			}
			more, err := f.makeRoom(cmd.Context(), cmd.ErrOrStderr(), size)
			if err != nil {
				return err
			}
			c, err := f.open(cmd.Context(), cmd.ErrOrStderr())
			if err != nil {
				return err
			}
			defer c.Close()
			freed, err := c.Trim(cmd.Context(), size)
			if err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "dropped %d entries, %s\n", freed.Entries+more.Entries, bytesText(freed.Bytes+more.Bytes))
			return nil
		},
	}
	cmd.Flags().StringVar(&to, "to", "", "`SIZE` that the cache may stay at, as in 20GB")
	return cmd
}
