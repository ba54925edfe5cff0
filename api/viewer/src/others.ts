// The views that are registered besides Ask, one import a line, such as
// import './work/register'
import './work/register'
import './field/register'
import './places/register'
import './edit/register'
import './numbers/register'
import './load/register'
