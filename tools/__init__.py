"""Scripts for those who work on the plugin; none of it is shipped. tools/run.sh MODULE starts one."""
import clone

clone.load()  # the core under the name that tools and tests know it by, before a script asks for it
