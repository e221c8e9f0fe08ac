-- The version of the reference data: any change of it raises this.
SELECT reference_version FROM network_head
