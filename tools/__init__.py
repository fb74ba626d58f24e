"""Scripts for those who work on the plugin; none of it is shipped. tools/run.sh MODULE starts one."""
