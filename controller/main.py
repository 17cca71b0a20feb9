import roundstop_table

roundstop_table.main()
